#pragma once
/*
 * db/admin.h - what the operator makes from the command line: networks, their
 * first users and their devices.
 *
 * Acts as lensclerk_owner, which row security lets see every network; each
 * function connects, does its work with its audit row or nothing, and blocks.
 * Texts are borrowed; NULL where there is none.
 */
#include <stdint.h>

#include "base/err.h"
#include "base/hash.h"
#include "base/uuid.h"

enum rc admin_network_add(const char *conninfo, const char *name,
    const char *display, char ret_id[UUID_TEXT_SIZE], struct err *err);

/* A token to be made with its owner; hash NULL: none. */
struct admin_token {
    const uint8_t *hash; /* HASH_SIZE bytes */
    int days;
};

struct admin_user {
    const char *network; /* its name */
    const char *name, *display, *role;
    const char *clinic, *lab; /* their names */
    const char *password_hash;
    struct admin_token token;
};

/* RC_NOT_FOUND names the network, clinic or lab that isn't there. */
enum rc admin_user_add(const char *conninfo, const struct admin_user *user,
    char ret_id[UUID_TEXT_SIZE], struct err *err);

/* A new password; the user's sessions and tokens end. */
enum rc admin_user_password(const char *conninfo, const char *network,
    const char *name, const char *password_hash, struct err *err);

struct admin_device {
    const char *network;
    const char *name, *clinic, *serial;
    struct admin_token token;
};

enum rc admin_device_add(const char *conninfo,
    const struct admin_device *device, char ret_id[UUID_TEXT_SIZE],
    struct err *err);
