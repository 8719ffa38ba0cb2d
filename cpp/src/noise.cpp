#include "farhear/noise.hpp"
