#pragma once

namespace farhear::magnetic {}  // namespace farhear::magnetic
