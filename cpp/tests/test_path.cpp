#include <doctest/doctest.h>

#include "farhear/path.hpp"
