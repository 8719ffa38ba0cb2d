#pragma once
// The shipped maps and magnetic field, read from the tree, and a land of two invented continents.

#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "farhear/circuit.hpp"
#include "farhear/ionosphere.hpp"
#include "farhear/losses.hpp"
#include "farhear/magnetic.hpp"
#include "farhear/sporadic.hpp"
#include "farhear/zone.hpp"

namespace farhear::fuzz {

inline std::string shipped(const std::string& name) {
    std::ifstream file(std::string(FARHEAR_DATA) + "/" + name, std::ios::binary);
    std::string bytes{std::istreambuf_iterator<char>(file), {}};
    if (bytes.empty()) {
        throw std::runtime_error("no " + name + " in " FARHEAR_DATA);
    }
    return bytes;
}

inline std::vector<double> shipped_doubles(const std::string& name) {
    const std::string bytes = shipped(name);
    std::vector<double> out(bytes.size() / sizeof(double));
    bytes.copy(reinterpret_cast<char*>(out.data()), out.size() * sizeof(double));
    return out;
}

/// The spherical harmonic file: a line of counts, the epochs, then degree, order and a value for
/// each epoch.
inline magnetic::Model shipped_field() {
    std::istringstream lines(shipped("igrf/IGRF14.shc"));
    std::vector<std::vector<double>> rows;
    for (std::string line; std::getline(lines, line);) {
        if (!line.starts_with('#')) {
            std::istringstream words(line);
            rows.emplace_back(std::istream_iterator<double>(words),
                              std::istream_iterator<double>());
        }
    }
    const std::vector<double> epochs = rows.at(1);
    std::vector<double> table;
    for (std::size_t epoch = 0; epoch < epochs.size(); ++epoch) {
        for (std::size_t row = 2; row < rows.size(); ++row) {
            table.push_back(rows[row].at(2 + epoch));
        }
    }
    return {epochs, table};
}

inline losses::Land invented_land() {
    const std::vector<double> lat = {-30, 60, 50, -20, -30, -70, -60, 40, -70};
    const std::vector<double> lon = {-20, -10, 60, 50, -20, 150, 250, 200, 150};
    const std::vector<std::int64_t> rings = {0, 5, 9};
    const std::vector<std::int64_t> each = {0, 1, 2};
    return losses::Land(zone::Regions(lat, lon, rings, each, each));
}

/// Everything, made once.
struct World {
    ionosphere::Maps maps{shipped_doubles("ccir/ccir_fof2.f64"),
                          shipped_doubles("ccir/ccir_m3000.f64")};
    magnetic::Model field = shipped_field();
    sporadic::Maps es{shipped_doubles("es/es_lower.f64"), shipped_doubles("es/es_median.f64"),
                      shipped_doubles("es/es_upper.f64")};
    losses::Land land = invented_land();
    circuit::Models models = {&maps, &field, &es, &land};
};
inline const World& world() {
    static const World made;
    return made;
}

}  // namespace farhear::fuzz
