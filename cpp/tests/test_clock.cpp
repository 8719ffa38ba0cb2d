#include <doctest/doctest.h>

#include "farhear/clock.hpp"
