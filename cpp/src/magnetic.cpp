#include "farhear/magnetic.hpp"
