// One target (FARHEAR_TARGET) as libFuzzer calls it. Broken is let through: it ends the run, and
// the input is kept.

#include "core_feed.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    farhear::fuzz::FARHEAR_TARGET({data, size});
    return 0;
}
