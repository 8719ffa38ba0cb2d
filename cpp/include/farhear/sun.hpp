#pragma once

namespace farhear::sun {}  // namespace farhear::sun
