#include "farhear/reception.hpp"
