#include <doctest/doctest.h>

#include "farhear/reception.hpp"
