#include "farhear/ionosphere.hpp"
