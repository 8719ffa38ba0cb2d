#include <pybind11/stl.h>

#include <chrono>
#include <string>
#include <string_view>
#include <utility>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/clock.hpp"

namespace farhear::bind {

namespace {

[[nodiscard]] py::array_t<std::int64_t> make_int64(std::size_t n) {
    return py::array_t<std::int64_t>(static_cast<py::ssize_t>(n));
}

[[nodiscard]] std::int64_t count(std::chrono::sys_seconds t) {
    return t.time_since_epoch().count();
}

}  // namespace

void bind_clock(py::module_& m) {
    using clock::Ambiguous;
    using clock::Missing;
    using clock::Zone;

    m.attr("FIRST_SEASON_YEAR") = clock::kFirstSeason_year;
    m.attr("LAST_SEASON_YEAR") = clock::kLastSeason_year;

    py::enum_<Ambiguous>(m, "Ambiguous")
        .value("RAISE", Ambiguous::kRaise)
        .value("EARLIER", Ambiguous::kEarlier)
        .value("LATER", Ambiguous::kLater);
    py::enum_<Missing>(m, "Missing")
        .value("RAISE", Missing::kRaise)
        .value("SHIFT", Missing::kShift);

    py::class_<Zone>(m, "Zone")
        .def(py::init([](std::string name, const py::bytes& tzif) {
                 const std::string_view text = tzif;
                 return Zone(std::move(name),
                             std::as_bytes(std::span<const char>{text.data(), text.size()}));
             }),
             py::arg("name"), py::arg("tzif"))
        .def_property_readonly("name", &Zone::name)
        .def_property_readonly("rule", &Zone::rule)
        .def("changes_unix_s",
             [](const Zone& zone) {
                 const auto changes = zone.changes_unix_s();
                 return py::array_t<std::int64_t>(static_cast<py::ssize_t>(changes.size()),
                                                  changes.data());
             })
        .def("offsets_s",
             [](const Zone& zone) {
                 const auto offsets = zone.offsets_s();
                 return py::array_t<std::int32_t>(static_cast<py::ssize_t>(offsets.size()),
                                                  offsets.data());
             })
        .def(
            "offset_s",
            [](const Zone& zone, const ArrayIn& t_unix_s) {
                const auto t = view(t_unix_s);
                auto out = make(t.size());
                const auto offset = view_out(out);
                {
                    const py::gil_scoped_release unlocked;
                    zone.offset_s(t, offset);
                }
                return out;
            },
            py::arg("t_unix_s").noconvert())
        .def(
            "to_local",
            [](const Zone& zone, const ArrayIn& t_unix_s) {
                const auto t = view(t_unix_s);
                auto out = make_int64(t.size());
                const auto wall = view_out(out);
                {
                    const py::gil_scoped_release unlocked;
                    zone.to_local(t, wall);
                }
                return out;
            },
            py::arg("t_unix_s").noconvert())
        .def(
            "to_utc",
            [](const Zone& zone, const ArrayIn& wall_s, Ambiguous ambiguous, Missing missing) {
                const auto wall = view(wall_s);
                auto out = make(wall.size());
                const auto t = view_out(out);
                {
                    const py::gil_scoped_release unlocked;
                    zone.to_utc(wall, ambiguous, missing, t);
                }
                return out;
            },
            py::arg("wall_s").noconvert(), py::arg("ambiguous"), py::arg("missing"))
        .def(
            "first_instant",
            [](const Zone& zone, const ArrayIn& wall_s) {
                const auto wall = view(wall_s);
                auto out = make(wall.size());
                const auto t = view_out(out);
                {
                    const py::gil_scoped_release unlocked;
                    zone.first_instant(wall, t);
                }
                return out;
            },
            py::arg("wall_s").noconvert());

    m.def(
        "season_count",
        [](const ArrayIn& t_unix_s) {
            const auto t = view(t_unix_s);
            auto out = make_int64(t.size());
            const auto counts = view_out(out);
            {
                const py::gil_scoped_release unlocked;
                clock::season_count(t, counts);
            }
            return out;
        },
        py::arg("t_unix_s").noconvert());
    m.def(
        "season_span",
        [](const std::string& name) {
            const auto span = clock::season_span(clock::parse_season(name));
            return std::pair{count(span.begin), count(span.end)};
        },
        py::arg("name"));
}

}  // namespace farhear::bind
