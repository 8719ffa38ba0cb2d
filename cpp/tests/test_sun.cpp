#include <doctest/doctest.h>

#include "farhear/sun.hpp"
