#pragma once
/*
 * base/config.h - what the operator decided: one INI file (read by glib's key
 * file parser) and the environment over it.
 *
 * LENSCLERK_<GROUP>_<KEY> overrides key in [group].  Constant after start.
 * Secrets are named by file (libpq passfile), never written here.
 */
#include <stdbool.h>

#include "base/err.h"
#include "base/log.h"

struct config {
    char *listen; /* address to listen on */
    int port;
    int metrics_port;                /* on 127.0.0.1; 0: port + 1; -1: none */
    char *tls_certificate, *tls_key; /* PEM files, both or neither */
    char *origin;  /* the pages' own origin, for cookie sessions; may be "" */
    char *web_dir; /* pages */
    char *schema_dir; /* the API description */
    char *migrations_dir;
    char *conninfo;       /* database, as role lensclerkd */
    char *owner_conninfo; /* as role lensclerk_owner; administration only */
    char *key_file; /* what signatures and secrets derive from; may be "" */
    int webhook_retry_s;  /* the first pause after a failed message */
    int webhook_attempts; /* after so many it is dead */
    int body_limit_mb;
    enum log_level log_level;
};

/* path NULL: defaults and environment only.  An unknown group or key is an
 * error that names it.  *ret is the caller's (config_free). */
enum rc config_load(const char *path, struct config **ret, struct err *err);
void config_free(struct config *c);
