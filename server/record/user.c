#include "record/user.h"

#include <string.h>

const char *const RECORD_ROLES[] = {
    "desk", "prescriber", "lab", "admin", "auditor", NULL};

#define PLAIN "abcdefghijklmnopqrstuvwxyz0123456789"

static bool made_of(const char *name, const char *letters)
{
    size_t len = strlen(name);

    return len > 0 && len <= RECORD_USER_NAME_MAX && strchr(PLAIN, name[0]) &&
           name[strspn(name, letters)] == '\0';
}

bool record_user_name_valid(const char *name)
{
    return made_of(name, PLAIN "._-");
}

bool record_network_name_valid(const char *name)
{
    return made_of(name, PLAIN "-");
}
