#pragma once
/*
 * record/user.h - the names and roles of who works in a network.
 */
#include <stdbool.h>

#define RECORD_USER_NAME_MAX 63

/* The roles of people; NULL-ended.  (A device's role is device.) */
extern const char *const RECORD_ROLES[];

/* a-z, 0-9, dot, dash, underscore; begins with a letter or digit; at most
 * RECORD_USER_NAME_MAX. */
bool record_user_name_valid(const char *name);

/* As a user's name, without dot and underscore. */
bool record_network_name_valid(const char *name);
