#pragma once

namespace farhear::zone {}  // namespace farhear::zone
