#include "farhear/clock.hpp"
