#include <doctest/doctest.h>

#include "farhear/skywave.hpp"
