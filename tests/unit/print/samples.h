#pragma once
/*
 * Pages for the print tests, all made up.  No real person, clinic or lab.
 */
#include <stdbool.h>

#include "print/order_page.h"

/* Fills page with the named sample; false when there is none of that name.
 * The strings live as long as the program. */
bool sample_page(const char *name, struct print_order_page *page);
