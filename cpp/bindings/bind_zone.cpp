#include <cstddef>
#include <cstdint>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/zone.hpp"

namespace farhear::bind {

void bind_zone(py::module_& m) {
    m.doc() = "Which of the caller's regions holds a place";
    using zone::Regions;

    py::class_<Regions>(m, "Regions")
        .def(py::init([](const ArrayIn& lat_deg, const ArrayIn& lon_deg, const IndexIn& ring_first,
                         const IndexIn& polygon_first, const IndexIn& region_first) {
                 return Regions(view(lat_deg), view(lon_deg), view(ring_first), view(polygon_first),
                                view(region_first));
             }),
             py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
             py::arg("ring_first").noconvert(), py::arg("polygon_first").noconvert(),
             py::arg("region_first").noconvert())
        .def("__len__", &Regions::size)
        .def(
            "find",
            [](const Regions& self, const ArrayIn& lat_deg, const ArrayIn& lon_deg) {
                py::array_t<std::int64_t> region(lat_deg.size());
                const auto lat = view(lat_deg);
                const auto lon = view(lon_deg);
                const auto out = view_out(region);
                {
                    const py::gil_scoped_release unlocked;
                    self.find(lat, lon, out);
                }
                return region;
            },
            py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert())
        .def(
            "contains",
            [](const Regions& self, std::size_t region, const ArrayIn& lat_deg,
               const ArrayIn& lon_deg) {
                py::array_t<std::uint8_t> inside(lat_deg.size());
                const auto lat = view(lat_deg);
                const auto lon = view(lon_deg);
                const auto out = view_out(inside);
                {
                    const py::gil_scoped_release unlocked;
                    self.contains(region, lat, lon, out);
                }
                return inside;
            },
            py::arg("region"), py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert());
}

}  // namespace farhear::bind
