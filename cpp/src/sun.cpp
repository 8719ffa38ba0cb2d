#include "farhear/sun.hpp"
