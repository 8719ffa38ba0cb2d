// Every array form of the core on the same invented input.
//   batches write              their results as raw numbers on standard output
//   batches write portable     without those for which Boost calls the C library's functions
//   batches threads 8 3        eight threads, three rounds each, on one set of models: do all give
//                              what one gives alone
// tests/nightly.sh compares what builds for single instruction levels write, and what one writes
// where the C library takes its functions for an older processor, and runs the threads under a
// thread sanitizer.

#include <cmath>
#include <cstring>
#include <iostream>
#include <numeric>
#include <random>
#include <string>
#include <thread>
#include <vector>

#include "core_models.hpp"
#include "farhear/antenna.hpp"
#include "farhear/circuit.hpp"
#include "farhear/clock.hpp"
#include "farhear/lightning.hpp"
#include "farhear/listening.hpp"
#include "farhear/path.hpp"
#include "farhear/rays.hpp"
#include "farhear/reception.hpp"
#include "farhear/sun.hpp"

namespace {

using namespace farhear;
using Column = std::vector<double>;

/// All that is asked of the core. Made once, read by all threads.
struct World {
    std::size_t n;
    const fuzz::World& data = fuzz::world();
    std::mt19937_64 random{20261126};  // its sequence is fixed by the C++ standard
    Column t = drawn(-2.2e9, 1.89e9);
    Column lat = drawn(-90.0, 90.0);
    Column lon = drawn(-180.0, 360.0);
    Column lat2 = drawn(-90.0, 90.0);
    Column lon2 = drawn(-180.0, 360.0);
    Column share = drawn(0.0, 1.0);
    Column flux = drawn(65.0, 250.0);
    Column year = drawn(1900.0, 2030.0);
    Column freq = drawn(2.0, 29.0);
    ionosphere::Drive drive = {true, std::nan(""), false};
    clock::Zone zone = time_zone();
    zone::Regions regions{Column{-30, 60, 50, -20, -30}, Column{-20, -10, 60, 50, -20},
                          std::vector<std::int64_t>{0, 5}, std::vector<std::int64_t>{0, 1},
                          std::vector<std::int64_t>{0, 1}};

    explicit World(std::size_t count) : n(count) {}

    [[nodiscard]] Column drawn(double low, double high) {
        Column out(n);
        for (double& value : out) {  // the standard does not fix how its distributions draw
            value = low + (high - low) * (static_cast<double>(random() >> 11U) * 0x1p-53);
        }
        return out;
    }
    [[nodiscard]] static clock::Zone time_zone() {
        std::string file;
        for (int block = 0; block < 2; ++block) {  // RFC 9636: no changes, one type, one name
            file += "TZif2" + std::string(15 + 19, '\0') + '\1' + std::string(3, '\0') + '\4' +
                    std::string(6, '\0') + std::string("UTC\0", 4);
        }
        file += "\nEET-2EEST,M3.5.0/3,M10.5.0/4\n";
        return {"invented", std::as_bytes(std::span(file))};
    }
    [[nodiscard]] std::span<const double> some(const Column& column, std::size_t count) const {
        return std::span(column).first(std::min(count, n));
    }
};

void put(Column& out, std::span<const double> values) {
    for (const double value : values) {
        out.push_back(std::isnan(value) ? std::nan("") : value);  // one NaN is as good as another
    }
}
template <typename Number>
void put_codes(Column& out, std::span<const Number> values) {
    for (const auto value : values) {
        out.push_back(static_cast<double>(value));
    }
}

Column the_sun(const World& w) {
    Column out;
    Column a(w.n);
    Column b(w.n);
    sun::position(w.t, w.lat, w.lon, a, b);
    put(out, a);
    put(out, b);
    const auto t = w.some(w.t, 40);
    const auto lat = w.some(w.lat, 50);
    const auto lon = w.some(w.lon, 50);
    Column grid_a(t.size() * lat.size());
    Column grid_b(grid_a.size());
    sun::position_grid(t, lat, lon, grid_a, grid_b);
    put(out, grid_a);
    put(out, grid_b);
    Column after(w.n);
    Column zenith(w.n);
    for (std::size_t i = 0; i < w.n; ++i) {
        after[i] = w.t[i] + 86400.0;
        zenith[i] = 88.0 + 10.0 * w.share[i];
    }
    std::vector<sun::Occurs> state(w.n);
    sun::events(w.t, after, w.lat, w.lon, zenith, a, b, state);
    put(out, a);
    put(out, b);
    Column line_lat(t.size() * 91);
    Column line_lon(line_lat.size());
    sun::terminator(t, w.some(zenith, 40), 91, line_lat, line_lon);
    put(out, line_lat);
    put(out, line_lon);
    return out;
}

Column the_clock(const World& w) {
    Column out;
    Column numbers(w.n);
    std::vector<std::int64_t> wall(w.n);
    w.zone.offset_s(w.t, numbers);
    put(out, numbers);
    w.zone.to_local(w.t, wall);
    put_codes<std::int64_t>(out, wall);
    w.zone.to_utc(w.t, clock::Ambiguous::kEarlier, clock::Missing::kShift, numbers);
    put(out, numbers);
    w.zone.first_instant(w.t, numbers);
    put(out, numbers);
    return out;
}

Column the_paths(const World& w) {
    Column out;
    Column a(w.n);
    Column b(w.n);
    path::sphere(w.lat, w.lon, w.lat2, w.lon2, a, b);
    put(out, a);
    put(out, b);
    for (const bool long_path : {false, true}) {
        path::sphere_points(w.lat, w.lon, w.lat2, w.lon2, w.share, long_path, a, b);
        put(out, a);
        put(out, b);
    }
    return out;
}

Column the_ellipsoid(const World& w) {
    Column out;
    Column a(w.n);
    Column b(w.n);
    Column c(w.n);
    path::inverse(w.lat, w.lon, w.lat2, w.lon2, a, b, c);
    put(out, a);
    put(out, b);
    put(out, c);
    const Column azimuth = b;
    const Column distance = a;
    path::direct(w.lat, w.lon, azimuth, distance, a, b, c);
    put(out, a);
    put(out, b);
    return out;
}

Column the_field(const World& w) {
    Column out;
    std::array<Column, 6> parts;
    for (Column& part : parts) {
        part.resize(w.n);
    }
    const Column height(w.n, 300.0);
    const auto& model = w.data.field;
    model.components(w.year, w.lat, w.lon, height, parts[0], parts[1], parts[2]);
    magnetic::derive(parts[0], parts[1], parts[2], w.lat, parts[3], parts[4], parts[5]);
    for (const Column& part : parts) {
        put(out, part);
    }
    model.components(2025.5, w.lat, w.lon, height, parts[0], parts[1], parts[2]);
    model.geomagnetic_lat_deg(2025.5, w.lat, w.lon, parts[3]);
    for (std::size_t i = 0; i < 4; ++i) {
        put(out, parts.at(i));
    }
    Column share(w.n);
    w.data.land.sea_share(w.lat, w.lon, share);
    put(out, share);
    return out;
}

Column the_layers(const World& w) {
    Column out;
    const auto lat = w.some(w.lat, 30);
    const auto lon = w.some(w.lon, 30);
    const auto t = w.some(w.t, 20);
    const auto flux = w.some(w.flux, 20);
    std::array<Column, 5> parts;
    for (Column& part : parts) {
        part.resize(lat.size() * t.size());
    }
    ionosphere::characteristics(w.data.maps, w.data.field, w.drive, lat, lon, t, flux, {}, {},
                                {parts[0], parts[1], parts[2], parts[3], parts[4]});
    for (const Column& part : parts) {
        put(out, part);
    }
    sporadic::foes(w.data.es, w.data.field, lat, lon, t, flux, {}, {}, parts[0], parts[1],
                   parts[2]);
    lightning::columns(w.data.maps, w.data.field, w.drive, {lat, lon},
                       {t, flux, w.some(w.freq, 20)}, {}, {}, {parts[3], parts[4], parts[4]});
    for (const Column& part : parts) {
        put(out, part);
    }
    return out;
}

Column the_rays(const World& w) {
    Column out;
    for (std::size_t i = 0; i < w.n; ++i) {
        const double foe = 0.5 + 3.0 * w.share[i];
        const double fof2 = foe * (1.4 + w.freq[i] / 10.0);
        const auto profile = rays::join({{foe, 110.0, 20.0},
                                         {i % 2 == 0 ? foe * 1.2 : 0.0, 180.0, 40.0},
                                         {fof2, 250.0 + w.flux[i] / 2.0, 90.0}});
        const auto curve = rays::land(profile, rays::Region::kF2, 500.0 + 3000.0 * w.share[i]);
        const auto top = rays::muf(curve);
        put(out, curve.freq_mhz);
        put(out, curve.sin_elevation);
        const auto ray = rays::trace(profile, 0.8 * fof2, 40.0);
        put(out, std::array{top.freq_mhz, ray.ground_range_km, ray.group_path_km});
    }
    return out;
}

Column the_sky(const World& w) {
    Column out;
    constexpr std::size_t kCircuits = 12;
    constexpr std::size_t kInstants = 8;
    const auto of = [&](const Column& column) { return w.some(column, kCircuits); };
    Column khz(kCircuits);
    for (std::size_t i = 0; i < kCircuits; ++i) {
        khz[i] = 1000.0 * w.freq[i];
    }
    const auto all = [](double value) { return Column(kCircuits, value); };
    const Column power = all(100.0);
    const Column gain = all(10.0);
    const Column fa = all(40.0);
    const Column decile = all(8.0);
    const Column bandwidth = all(4500.0);
    const Column required = all(17.0);
    const Column least = all(3.0);
    const reception::CircuitColumns circuits = {
        of(w.lat), of(w.lon), of(w.lat2), of(w.lon2), khz,   power, gain, fa,
        decile,    decile,    bandwidth,  required,   least, {},    {}};
    const auto t = w.some(w.t, kInstants);
    const auto flux = w.some(w.flux, kInstants);
    const std::size_t n = kCircuits * kInstants;
    std::array<Column, 13> numbers;
    for (Column& column : numbers) {
        column.resize(n);
    }
    Column rungs(n * listening::kRungs);
    std::array<std::vector<std::uint8_t>, 4> codes;
    for (auto& column : codes) {
        column.resize(n);
    }
    const reception::ResultColumns results = {
        numbers[0],  numbers[1], numbers[2], numbers[3], numbers[4],  numbers[5],
        numbers[6],  numbers[7], numbers[8], numbers[9], numbers[10], numbers[11],
        numbers[12], rungs,      codes[0],   codes[1],   codes[2],    codes[3]};
    for (const auto engine : {reception::Engine::kRays, reception::Engine::kMirror}) {
        reception::likelihood(w.data.models, w.drive, skywave::Route::kBoth, engine, {}, circuits,
                              {t, flux, {}, {}, {}, {}}, {}, {}, {}, results);
        for (const Column& column : numbers) {
            put(out, column);
        }
        put(out, rungs);
        for (const auto& column : codes) {
            put_codes<std::uint8_t>(out, column);
        }
    }
    std::vector<circuit::Ends> ends(kCircuits);
    for (std::size_t i = 0; i < kCircuits; ++i) {
        ends[i] = {w.lat[i], w.lon[i], w.lat2[i], w.lon2[i], 3.0, skywave::Route::kBoth};
    }
    Column muf(n);
    circuit::muf(w.data.models, w.drive, {}, ends, t, flux, {}, {}, muf);
    put(out, muf);
    skywave::muf(w.data.maps, w.data.field, w.drive, skywave::Route::kBoth,
                 {of(w.lat), of(w.lon), of(w.lat2), of(w.lon2), least}, t, flux, {}, {}, muf);
    put(out, muf);
    return out;
}

Column the_ends(const World& w) {
    Column out;
    constexpr std::size_t kAntennas = 6;
    const std::vector<std::int64_t> kind = {0, 1, 2, 3, 4, 5};
    const auto all = [](double value) { return Column(kAntennas, value); };
    const Column columns = all(4.0);
    const Column rows = all(2.0);
    const Column height = all(0.5);
    const Column slew = all(15.0);
    const Column design = all(12.0);
    const Column back = all(20.0);
    const Column width = all(60.0);
    const Column peak = all(12.0);
    const Column high = all(0.2);
    const Column permittivity = all(15.0);
    const Column conductivity = all(0.005);
    const antenna::AntennaColumns antennas = {kind, columns, rows,         height,
                                              slew, design,  back,         width,
                                              peak, high,    permittivity, conductivity};
    Column table(kAntennas * antenna::kElevations);
    Column most(kAntennas);
    antenna::elevation_table(antennas, all(11.0), all(20.0), 25.0, table, most);
    put(out, table);
    put(out, most);
    Column rungs(w.n * listening::kRungs);
    const Column decile(w.n, 8.0);
    const Column bandwidth(w.n, 4500.0);
    listening::ladder(w.lat, decile, decile, bandwidth, rungs);
    put(out, rungs);
    const Column modes(w.n, 2.0);
    const std::array<std::span<const double>, 11> impressions = {
        w.lat, decile, decile, w.lat2, decile, decile, w.freq, decile, decile, w.freq, modes};
    Column probability(w.n * 25);
    std::vector<std::uint8_t> code(w.n * 5);
    Column joint(w.n);
    listening::sinpo(impressions, probability, code, joint);
    put(out, probability);
    put(out, joint);
    Column fa(w.n);
    Column upper(w.n);
    Column lower(w.n);
    const Column offset = {-5.0, 0.0, 10.0};
    Column field;
    Column field_decile(3 * w.n, 7.0);
    for (int i = 0; i < 3; ++i) {
        field.insert(field.end(), w.lat.begin(), w.lat.end());
    }
    listening::interference_source({field, field_decile, field_decile}, offset,
                                   listening::Mode::kAm, {}, w.freq, 4500.0, fa, upper, lower);
    put(out, fa);
    put(out, upper);
    std::vector<std::int64_t> region(w.n);
    w.regions.find(w.lat, w.lon, region);
    put_codes<std::int64_t>(out, region);
    return out;
}

using Entry = Column (*)(const World&);
constexpr std::array<Entry, 9> kEntries = {the_sun,  the_clock, the_paths, the_field,    the_layers,
                                           the_rays, the_sky,   the_ends,  the_ellipsoid};

bool same(const Column& a, const Column& b) {
    return a.size() == b.size() && std::memcmp(a.data(), b.data(), a.size() * sizeof(double)) == 0;
}

int threads(std::size_t count, std::size_t rounds) {
    const World w(200);
    std::vector<Column> alone;
    for (const Entry entry : kEntries) {
        alone.push_back(entry(w));
    }
    // a counter for each: a shared one would put the threads in an order and hide their races
    std::vector<std::size_t> different(count);
    std::vector<std::thread> running;
    for (std::size_t k = 0; k < count; ++k) {
        running.emplace_back([&, k] {
            std::size_t mine = 0;
            for (std::size_t i = 0; i < rounds * kEntries.size(); ++i) {
                const std::size_t e = (i + k) % kEntries.size();  // each begins somewhere else
                mine += same(kEntries.at(e)(w), alone[e]) ? 0U : 1U;
            }
            different[k] = mine;
        });
    }
    for (std::thread& one : running) {
        one.join();
    }
    const std::size_t all = std::accumulate(different.begin(), different.end(), std::size_t{0});
    std::cout << count << " threads, " << rounds * kEntries.size() << " calls each, " << all
              << " of them different\n";
    return all == 0 ? 0 : 1;
}

int write(bool portable) {
    const World w(5003);  // no multiple of a vector length
    for (const Entry entry : kEntries) {
        if (portable && entry == the_ellipsoid) {
            continue;
        }
        const Column out = entry(w);
        std::cout.write(reinterpret_cast<const char*>(out.data()),
                        static_cast<std::streamsize>(out.size() * sizeof(double)));
    }
    return std::cout.good() ? 0 : 1;
}

}  // namespace

int main(int count, char** words) {
    if (count == 4 && std::string(words[1]) == "threads") {
        return threads(std::stoul(words[2]), std::stoul(words[3]));
    }
    const bool portable = count == 3 && std::string(words[2]) == "portable";
    return (count == 2 || portable) && std::string(words[1]) == "write" ? write(portable) : 2;
}
