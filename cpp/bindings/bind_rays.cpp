#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <array>
#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/rays.hpp"

namespace farhear::bind {

namespace {

/// Nine columns: foE, hmE, ymE, foF1, hmF1, ymF1, foF2, hmF2, ymF2.
rays::Layers layers_of(const std::array<ArrayIn, 9>& columns, std::size_t i) {
    const auto at = [&](std::size_t c) { return view(columns.at(c))[i]; };
    return {{at(0), at(1), at(2)}, {at(3), at(4), at(5)}, {at(6), at(7), at(8)}};
}

py::dict trace(const std::array<ArrayIn, 9>& layers, const ArrayIn& freq_mhz,
               const ArrayIn& elevation_deg) {
    const auto n = static_cast<std::size_t>(freq_mhz.size());
    std::array<py::array_t<double>, 3> numbers = {make(n), make(n), make(n)};
    py::array_t<std::uint8_t> region(static_cast<py::ssize_t>(n));
    const auto range = view_out(numbers[0]);
    const auto path = view_out(numbers[1]);
    const auto turning = view_out(numbers[2]);
    const auto where = view_out(region);
    const auto freq = view(freq_mhz);
    const auto elevation = view(elevation_deg);
    for (std::size_t i = 0; i < n; ++i) {
        const auto ray = rays::trace(rays::join(layers_of(layers, i)), freq[i], elevation[i]);
        range[i] = ray.ground_range_km;
        path[i] = ray.group_path_km;
        turning[i] = ray.turning_km;
        where[i] = static_cast<std::uint8_t>(ray.region);
    }
    py::dict out;
    out["ground_range_km"] = numbers[0];
    out["group_path_km"] = numbers[1];
    out["turning_km"] = numbers[2];
    out["region"] = region;
    return out;
}

ArrayIn plasma(const std::array<ArrayIn, 9>& layers, const ArrayIn& height_km) {
    auto out = make(static_cast<std::size_t>(height_km.size()));
    const auto height = view(height_km);
    const auto value = view_out(out);
    for (std::size_t i = 0; i < height.size(); ++i) {
        value[i] = rays::plasma_mhz2(rays::join(layers_of(layers, i)), height[i]);
    }
    return out;
}

/// Highest frequency that lands, and where: columns muf_mhz, elevation_deg, mirror_km, turning_km.
py::dict muf(const std::array<ArrayIn, 9>& layers, rays::Region region, const ArrayIn& hop_km) {
    const auto n = static_cast<std::size_t>(hop_km.size());
    std::array<py::array_t<double>, 4> numbers = {make(n), make(n), make(n), make(n)};
    const auto hop = view(hop_km);
    for (std::size_t i = 0; i < n; ++i) {
        const auto curve = rays::land(rays::join(layers_of(layers, i)), region, hop[i]);
        const auto top = rays::muf(curve);
        const auto ray = rays::low_ray(curve, top, top.freq_mhz);
        view_out(numbers[0])[i] = top.freq_mhz;
        view_out(numbers[1])[i] = ray.sin_elevation;
        view_out(numbers[2])[i] = ray.mirror_km;
        view_out(numbers[3])[i] = ray.turning_km;
    }
    py::dict out;
    out["muf_mhz"] = numbers[0];
    out["sin_elevation"] = numbers[1];
    out["mirror_km"] = numbers[2];
    out["turning_km"] = numbers[3];
    return out;
}

/// Rays of one profile that land at one distance: points of the curve.
py::dict landing(const std::array<double, 9>& v, rays::Region region, double hop_km) {
    const auto curve = rays::land(
        rays::join({{v[0], v[1], v[2]}, {v[3], v[4], v[5]}, {v[6], v[7], v[8]}}), region, hop_km);
    py::dict out;
    out["freq_mhz"] = curve.freq_mhz;
    out["sin_elevation"] = curve.sin_elevation;
    out["mirror_km"] = curve.mirror_km;
    out["turning_km"] = curve.turning_km;
    return out;
}

}  // namespace

void bind_rays(py::module_& m) {
    py::native_enum<rays::Region>(m, "Region", "enum.IntEnum")
        .value("E", rays::Region::kE)
        .value("F1", rays::Region::kF1)
        .value("F2", rays::Region::kF2)
        .finalize();
    m.def("trace", &trace, py::arg("layers"), py::arg("freq_mhz").noconvert(),
          py::arg("elevation_deg").noconvert());
    m.def("plasma_mhz2", &plasma, py::arg("layers"), py::arg("height_km").noconvert());
    m.def("muf", &muf, py::arg("layers"), py::arg("region"), py::arg("hop_km").noconvert());
    m.def("landing", &landing, py::arg("layers"), py::arg("region"), py::arg("hop_km"));
    m.def(
        "tied_peak_km",
        [](const std::array<ArrayIn, 9>& layers, const ArrayIn& target_ratio) {
            auto out = make(static_cast<std::size_t>(target_ratio.size()));
            for (std::size_t i = 0; i < static_cast<std::size_t>(target_ratio.size()); ++i) {
                view_out(out)[i] = rays::tied_peak_km(layers_of(layers, i), view(target_ratio)[i]);
            }
            return out;
        },
        py::arg("layers"), py::arg("target_ratio").noconvert());
}

}  // namespace farhear::bind
