#pragma once

namespace farhear::reception {}  // namespace farhear::reception
