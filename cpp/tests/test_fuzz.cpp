#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <utility>
#include <vector>

#include "core_feed.hpp"

// The inputs of tests/fuzz/corpus, once through the fuzz targets: seeds, and what a fuzzer found.
TEST_CASE("every kept input of the fuzzers is answered as the headers say") {
    namespace fuzz = farhear::fuzz;
    const std::vector<std::pair<std::string, void (*)(fuzz::Bytes)>> targets = {
        {"clock", fuzz::clock}, {"columns", fuzz::columns}, {"rays", fuzz::rays},
        {"sky", fuzz::sky},     {"sun", fuzz::sun},         {"zone", fuzz::zone}};
    for (const auto& [name, target] : targets) {
        int count = 0;
        for (const auto& entry :
             std::filesystem::directory_iterator(FARHEAR_CORPUS "/core_" + name)) {
            std::ifstream file(entry.path(), std::ios::binary);
            const std::string text{std::istreambuf_iterator<char>(file), {}};
            std::vector<std::uint8_t> bytes(text.size());
            std::ranges::transform(text, bytes.begin(),
                                   [](char c) { return static_cast<std::uint8_t>(c); });
            CAPTURE(entry.path());
            CHECK_NOTHROW(target(bytes));
            ++count;
        }
        CHECK(count > 0);
    }
}
