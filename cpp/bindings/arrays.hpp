#pragma once
// From numpy arrays to spans and back. Everything that needs the interpreter happens here, before
// the lock is released.

#include <pybind11/numpy.h>
#include <pybind11/pybind11.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <tuple>

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

/// A tuple of kOut new columns of n doubles, filled by fill(spans) without the interpreter's lock:
/// `fill` takes an array of spans and may touch nothing of Python.
template <std::size_t kOut, typename Fill>
[[nodiscard]] auto columns(std::size_t n, const Fill& fill) {
    std::array<py::array_t<double>, kOut> arrays;
    std::array<std::span<double>, kOut> spans;
    for (std::size_t i = 0; i < kOut; ++i) {
        arrays[i] = make(n);             // NOLINT: i < kOut
        spans[i] = view_out(arrays[i]);  // NOLINT
    }
    {
        const py::gil_scoped_release unlocked;
        fill(spans);
    }
    return std::tuple_cat(arrays);
}

}  // namespace farhear::bind
