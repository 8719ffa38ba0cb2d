#include <doctest/doctest.h>

#include "farhear/noise.hpp"
