#include "base/config.h"

#include <glib.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/num.h"

struct option {
    const char *group, *key, *preset;
    size_t at; /* of the char * or int in struct config */
    enum { TEXT, NUMBER, LEVEL } kind;
    int min, max;
};

#define AT(member) offsetof(struct config, member)

static const struct option OPTIONS[] = {
    {"server", "listen", "127.0.0.1", AT(listen), TEXT, 0, 0},
    {"server", "port", "8460", AT(port), NUMBER, 1, 65535},
    {"server", "metrics_port", "0", AT(metrics_port), NUMBER, -1, 65535},
    {"server", "tls_certificate", "", AT(tls_certificate), TEXT, 0, 0},
    {"server", "tls_key", "", AT(tls_key), TEXT, 0, 0},
    {"server", "origin", "", AT(origin), TEXT, 0, 0},
    {"server", "web_dir", "", AT(web_dir), TEXT, 0, 0},
    {"server", "schema_dir", "", AT(schema_dir), TEXT, 0, 0},
    {"server", "body_limit_mb", "8", AT(body_limit_mb), NUMBER, 1, 512},
    {"database", "conninfo", "dbname=lensclerk user=lensclerkd", AT(conninfo),
        TEXT, 0, 0},
    {"database", "owner_conninfo", "", AT(owner_conninfo), TEXT, 0, 0},
    {"database", "migrations_dir", "", AT(migrations_dir), TEXT, 0, 0},
    {"webhooks", "retry_s", "5", AT(webhook_retry_s), NUMBER, 1, 3600},
    {"webhooks", "attempts", "20", AT(webhook_attempts), NUMBER, 1, 1000},
    {"secrets", "key_file", "", AT(key_file), TEXT, 0, 0},
    {"log", "level", "info", AT(log_level), LEVEL, 0, 0},
};

static enum rc set_number(struct config *c, const struct option *o,
    const char *value, struct err *err)
{
    int64_t n;

    if (!num_parse(value, strlen(value), 0, 1000000, &n) || n < o->min ||
        n > o->max)
        return err_set(err, RC_INVALID, NULL,
            "[%s] %s must be a number from %d to %d, not \"%s\"", o->group,
            o->key, o->min, o->max, value);
    *(int *)((char *)c + o->at) = (int)n;
    return RC_OK;
}

static enum rc set_level(struct config *c, const struct option *o,
    const char *value, struct err *err)
{
    static const char *const words[] = {"debug", "info", "warning", "error"};

    for (size_t i = 0; i < ARRAY_LEN(words); i++) {
        if (strcmp(words[i], value) == 0) {
            c->log_level = (enum log_level)i;
            return RC_OK;
        }
    }
    return err_set(err, RC_INVALID, NULL,
        "[%s] %s must be debug, info, warning or error, not \"%s\"", o->group,
        o->key, value);
}

static enum rc set_option(struct config *c, const struct option *o,
    const char *value, struct err *err)
{
    char **text = (char **)(void *)((char *)c + o->at);

    if (o->kind == NUMBER)
        return set_number(c, o, value, err);
    if (o->kind == LEVEL)
        return set_level(c, o, value, err);
    free(*text);
    *text = xstrdup(value);
    return RC_OK;
}

static const struct option *find(const char *group, const char *key)
{
    for (size_t i = 0; i < ARRAY_LEN(OPTIONS); i++)
        if (strcmp(OPTIONS[i].group, group) == 0 &&
            strcmp(OPTIONS[i].key, key) == 0)
            return &OPTIONS[i];
    return NULL;
}

static bool group_known(const char *group)
{
    for (size_t i = 0; i < ARRAY_LEN(OPTIONS); i++)
        if (strcmp(OPTIONS[i].group, group) == 0)
            return true;
    return false;
}

static enum rc take_group(
    struct config *c, GKeyFile *file, const char *group, struct err *err)
{
    gchar **keys;
    enum rc rc = RC_OK;

    if (!group_known(group))
        return err_set(err, RC_INVALID, NULL, "no group [%s] is known", group);
    keys = g_key_file_get_keys(file, group, NULL, NULL);
    for (gchar **k = keys; rc == RC_OK && k && *k; k++) {
        const struct option *o = find(group, *k);
        gchar *value = g_key_file_get_string(file, group, *k, NULL);

        if (!o)
            rc = err_set(err, RC_INVALID, NULL,
                "no option \"%s\" in [%s] is known", *k, group);
        else
            rc = set_option(c, o, value ? value : "", err);
        g_free(value);
    }
    g_strfreev(keys);
    return rc;
}

static enum rc take_file(struct config *c, const char *path, struct err *err)
{
    GKeyFile *file = g_key_file_new();
    GError *why = NULL;
    enum rc rc = RC_OK;

    if (!g_key_file_load_from_file(file, path, G_KEY_FILE_NONE, &why)) {
        rc = err_set(
            err, RC_INVALID, NULL, "can't read %s: %s", path, why->message);
        g_error_free(why);
    } else {
        gchar **groups = g_key_file_get_groups(file, NULL);

        for (gchar **g = groups; rc == RC_OK && *g; g++)
            rc = take_group(c, file, *g, err);
        g_strfreev(groups);
    }
    g_key_file_free(file);
    return rc;
}

static enum rc take_environment(struct config *c, struct err *err)
{
    for (size_t i = 0; i < ARRAY_LEN(OPTIONS); i++) {
        gchar *name = g_strdup_printf(
            "LENSCLERK_%s_%s", OPTIONS[i].group, OPTIONS[i].key);
        const char *value;
        enum rc rc = RC_OK;

        for (char *p = name; *p; p++)
            *p = g_ascii_toupper(*p);
        value = getenv(name);
        if (value)
            rc = set_option(c, &OPTIONS[i], value, err);
        g_free(name);
        TRY(rc);
    }
    return RC_OK;
}

enum rc config_load(const char *path, struct config **ret, struct err *err)
{
    struct config *c = xcalloc(1, sizeof(*c));
    enum rc rc = RC_OK;

    for (size_t i = 0; rc == RC_OK && i < ARRAY_LEN(OPTIONS); i++)
        rc = set_option(c, &OPTIONS[i], OPTIONS[i].preset, err);
    if (rc == RC_OK && path)
        rc = take_file(c, path, err);
    if (rc == RC_OK)
        rc = take_environment(c, err);
    if (rc == RC_OK && !*c->tls_certificate != !*c->tls_key)
        rc = err_set(err, RC_INVALID, NULL,
            "[server] tls_certificate and tls_key go together");
    if (rc == RC_OK && c->metrics_port == 0)
        c->metrics_port = c->port + 1;
    if (rc != RC_OK) {
        config_free(c);
        return rc;
    }
    *ret = c;
    return RC_OK;
}

void config_free(struct config *c)
{
    if (!c)
        return;
    for (size_t i = 0; i < ARRAY_LEN(OPTIONS); i++)
        if (OPTIONS[i].kind == TEXT)
            free(*(char **)(void *)((char *)c + OPTIONS[i].at));
    free(c);
}
