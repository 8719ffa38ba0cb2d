#include <doctest/doctest.h>

#include "farhear/magnetic.hpp"
