// Reads n triples (time, latitude, longitude) as raw doubles, three columns one after the other,
// and writes the two columns of sun::position. tests/reference/test_levels.py builds it once
// for each instruction level.

#include <cstddef>
#include <iostream>
#include <iterator>
#include <span>
#include <string>
#include <vector>

#include "farhear/sun.hpp"

int main() {
    const std::string bytes{std::istreambuf_iterator<char>(std::cin), {}};
    std::vector<double> in(bytes.size() / sizeof(double));
    bytes.copy(reinterpret_cast<char*>(in.data()), in.size() * sizeof(double));
    const std::size_t n = in.size() / 3;
    const std::span<const double> columns(in);
    std::vector<double> out(2 * n);
    const std::span<double> angles(out);
    farhear::sun::position(columns.subspan(0, n), columns.subspan(n, n), columns.subspan(2 * n, n),
                           angles.subspan(0, n), angles.subspan(n, n));
    std::cout.write(reinterpret_cast<const char*>(out.data()),
                    static_cast<std::streamsize>(out.size() * sizeof(double)));
    return std::cout.good() ? 0 : 1;
}
