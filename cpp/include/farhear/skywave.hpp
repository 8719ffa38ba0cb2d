#pragma once

namespace farhear::skywave {}  // namespace farhear::skywave
