#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <array>
#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/listening.hpp"

namespace farhear::bind {

namespace {

using Bytes = py::array_t<std::uint8_t>;

[[nodiscard]] Bytes make_bytes(std::size_t n) { return Bytes(static_cast<py::ssize_t>(n)); }

py::array_t<double> ladder(const ArrayIn& snr_db, const ArrayIn& lower_decile_db,
                           const ArrayIn& upper_decile_db, const ArrayIn& bandwidth_hz) {
    const auto snr = view(snr_db);
    const auto lower = view(lower_decile_db);
    const auto upper = view(upper_decile_db);
    const auto bandwidth = view(bandwidth_hz);
    auto out = make(snr.size() * listening::kRungs);
    const auto rungs = view_out(out);
    {
        const py::gil_scoped_release unlocked;
        listening::ladder(snr, lower, upper, bandwidth, rungs);
    }
    return out;
}

py::array_t<double> relative_protection_db(const ArrayIn& offset_khz, const ArrayIn& audio_khz) {
    const auto offset = view(offset_khz);
    const auto audio = view(audio_khz);
    auto out = make(offset.size());
    const auto protection = view_out(out);
    {
        const py::gil_scoped_release unlocked;
        for (std::size_t i = 0; i < offset.size(); ++i) {
            protection[i] = listening::relative_protection_db(offset[i], audio[i]);
        }
    }
    return out;
}

py::array_t<double> upper_share(const ArrayIn& offset_khz) {
    const auto offset = view(offset_khz);
    auto out = make(offset.size());
    const auto share = view_out(out);
    {
        const py::gil_scoped_release unlocked;
        for (std::size_t i = 0; i < offset.size(); ++i) {
            share[i] = listening::upper_share(offset[i]);
        }
    }
    return out;
}

/// am_db, lsb_db, usb_db, gain_db, best.
py::tuple choose(const ArrayIn& noise_db, const ArrayIn& upper_db, const ArrayIn& lower_db,
                 const ArrayIn& cochannel_db, listening::Emission emission, double suppression_db) {
    const listening::DisturbanceColumns in = {view(noise_db), view(upper_db), view(lower_db),
                                              view(cochannel_db)};
    auto best = make_bytes(in.noise_db.size());
    const auto codes = view_out(best);
    const auto numbers = columns<4>(in.noise_db.size(), [&](const auto& out) {
        listening::choose(in, emission, suppression_db, {out[0], out[1], out[2], out[3], codes});
    });
    return py::make_tuple(std::get<0>(numbers), std::get<1>(numbers), std::get<2>(numbers),
                          std::get<3>(numbers), best);
}

/// probability, code, code_probability, flat.
py::tuple sinpo(const std::array<ArrayIn, 11>& impressions) {
    std::vector<std::span<const double>> in;
    in.reserve(impressions.size());
    for (const auto& column : impressions) {
        in.push_back(view(column));
    }
    const std::size_t n = in[0].size();
    auto probability = make(n * 25);
    auto code = make_bytes(n * 5);
    auto code_probability = make(n);
    const auto p = view_out(probability);
    const auto digits = view_out(code);
    const auto best = view_out(code_probability);
    {
        const py::gil_scoped_release unlocked;
        listening::sinpo(in, p, digits, best);
    }
    return py::make_tuple(probability, code, code_probability);
}

}  // namespace

void bind_listening(py::module_& m) {
    py::native_enum<listening::Mode>(m, "Mode", "enum.IntEnum")
        .value("AM", listening::Mode::kAm)
        .value("LSB", listening::Mode::kLsb)
        .value("USB", listening::Mode::kUsb)
        .value("NONE", listening::Mode::kNone)
        .finalize();
    py::native_enum<listening::Emission>(m, "Emission", "enum.IntEnum")
        .value("DOUBLE_SIDEBAND", listening::Emission::kDoubleSideband)
        .value("UPPER_FULL_CARRIER", listening::Emission::kUpperFullCarrier)
        .value("UPPER_NO_CARRIER", listening::Emission::kUpperNoCarrier)
        .value("LOWER_NO_CARRIER", listening::Emission::kLowerNoCarrier)
        .value("DIGITAL", listening::Emission::kDigital)
        .finalize();
    m.attr("RUNG_SNR_DB") = py::tuple(py::cast(listening::kRung_snr_db));
    m.attr("RUNG_BANDWIDTH_HZ") = listening::kRung_bandwidth_hz;
    m.attr("PLANNING_AUDIO_KHZ") = listening::kPlanning_audio_khz;
    m.def("ladder", &ladder, py::arg("snr_db").noconvert(), py::arg("lower_decile_db").noconvert(),
          py::arg("upper_decile_db").noconvert(), py::arg("bandwidth_hz").noconvert());
    m.def("relative_protection_db", &relative_protection_db, py::arg("offset_khz").noconvert(),
          py::arg("audio_khz").noconvert());
    m.def("upper_share", &upper_share, py::arg("offset_khz").noconvert());
    m.def("mode_cost_db", &listening::mode_cost_db, py::arg("mode"), py::arg("emission"),
          py::arg("suppression_db"));
    m.def("choose", &choose, py::arg("noise_db").noconvert(), py::arg("upper_db").noconvert(),
          py::arg("lower_db").noconvert(), py::arg("cochannel_db").noconvert(), py::arg("emission"),
          py::arg("suppression_db"));
    m.def(
        "interference_source",
        [](const ArrayIn& field_dbuv_m, const ArrayIn& upper_db, const ArrayIn& lower_db,
           const ArrayIn& offset_khz, listening::Mode mode, double audio_khz, double suppression_db,
           double weight_db, const ArrayIn& freq_mhz, double bandwidth_hz) {
            const listening::FieldColumns fields = {view(field_dbuv_m), view(upper_db),
                                                    view(lower_db)};
            const auto offset = view(offset_khz);
            const auto freq = view(freq_mhz);
            return columns<3>(freq.size(), [&](const auto& out) {
                listening::interference_source(fields, offset, mode,
                                               {audio_khz, suppression_db, weight_db}, freq,
                                               bandwidth_hz, out[0], out[1], out[2]);
            });
        },
        py::arg("field_dbuv_m").noconvert(), py::arg("upper_db").noconvert(),
        py::arg("lower_db").noconvert(), py::arg("offset_khz").noconvert(), py::arg("mode"),
        py::arg("audio_khz"), py::arg("suppression_db"), py::arg("weight_db"),
        py::arg("freq_mhz").noconvert(), py::arg("bandwidth_hz"));
    m.def("sinpo", &sinpo, py::arg("impressions"));
}

}  // namespace farhear::bind
