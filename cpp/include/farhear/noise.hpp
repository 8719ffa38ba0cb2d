#pragma once

namespace farhear::noise {}  // namespace farhear::noise
