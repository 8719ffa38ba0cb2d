#include "farhear/skywave.hpp"
