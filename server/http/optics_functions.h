#pragma once
/* http/optics_functions.h - every function of optics.def. */
#include "http/optics_io.h"

#define FUNCTION(name, fn, ...) http_optics_fn fn;
#include "http/optics.def"
#undef FUNCTION
