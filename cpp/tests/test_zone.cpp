#include <doctest/doctest.h>

#include "farhear/zone.hpp"
