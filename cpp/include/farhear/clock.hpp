#pragma once

namespace farhear::clock {}  // namespace farhear::clock
