#include "farhear/path.hpp"
