#pragma once

namespace farhear::ionosphere {}  // namespace farhear::ionosphere
