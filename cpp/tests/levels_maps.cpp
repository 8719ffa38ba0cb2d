// Reads n triples (latitude, longitude, modip) as raw doubles, three columns one after the other,
// and writes foF2 and M(3000)F2 of ionosphere::product for seven sets of made-up coefficients.
// tests/reference/test_levels.py builds it once for each instruction level.

#include <cmath>
#include <cstddef>
#include <iostream>
#include <iterator>
#include <span>
#include <string>
#include <vector>

#include "farhear/ionosphere.hpp"

int main() {
    const std::string bytes{std::istreambuf_iterator<char>(std::cin), {}};
    std::vector<double> in(bytes.size() / sizeof(double));
    bytes.copy(reinterpret_cast<char*>(in.data()), in.size() * sizeof(double));
    const std::size_t n = in.size() / 3;
    const std::span<const double> columns(in);
    std::vector<farhear::ionosphere::Terms> instants(7);
    unsigned state = 1;
    const auto next = [&state] {  // any numbers will do, if they are the same at every level
        state = state * 1664525U + 1013904223U;
        return static_cast<double>(state) / 4294967296.0 - 0.5;
    };
    for (auto& instant : instants) {
        for (double& value : instant.fof2) {
            value = next();
        }
        for (double& value : instant.m3000) {
            value = next();
        }
    }
    std::vector<double> out(2 * n * instants.size());
    const std::span<double> values(out);
    farhear::ionosphere::product(
        columns.subspan(0, n), columns.subspan(n, n), columns.subspan(2 * n, n), instants,
        values.first(n * instants.size()), values.last(n * instants.size()));
    std::cout.write(reinterpret_cast<const char*>(out.data()),
                    static_cast<std::streamsize>(out.size() * sizeof(double)));
    return std::cout.good() ? 0 : 1;
}
