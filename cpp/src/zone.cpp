#include "farhear/zone.hpp"
