#pragma once

namespace farhear::path {}  // namespace farhear::path
