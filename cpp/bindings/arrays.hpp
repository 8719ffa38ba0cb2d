#pragma once
// From numpy arrays to spans and back. Everything that needs the interpreter happens here, before
// the lock is released.

#include <pybind11/numpy.h>
#include <pybind11/pybind11.h>

#include <cstddef>
#include <cstdint>
#include <span>

namespace farhear::bind {

namespace py = pybind11;

/// Contiguous float64, taken with .noconvert(): another dtype or layout is refused, never copied.
using ArrayIn = py::array_t<double, py::array::c_style>;
using IndexIn = py::array_t<std::int64_t, py::array::c_style>;

[[nodiscard]] inline std::span<const double> view(const ArrayIn& a) {
    return {a.data(), static_cast<std::size_t>(a.size())};
}
[[nodiscard]] inline std::span<const std::int64_t> view(const IndexIn& a) {
    return {a.data(), static_cast<std::size_t>(a.size())};
}
template <typename T>
[[nodiscard]] std::span<T> view_out(py::array_t<T>& a) {
    return {a.mutable_data(), static_cast<std::size_t>(a.size())};
}
[[nodiscard]] inline py::array_t<double> make(std::size_t n) {
    return py::array_t<double>(static_cast<py::ssize_t>(n));
}

}  // namespace farhear::bind
