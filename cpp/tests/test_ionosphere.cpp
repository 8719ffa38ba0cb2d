#include <doctest/doctest.h>

#include "farhear/ionosphere.hpp"
