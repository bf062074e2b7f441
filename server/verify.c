/*
 * verify.c - the command verify.
 *
 * A file is a signed JSON object (an Rx, what a lab was told) or the lines of
 * an order's square code.  Keys are a JWK or a JWK Set (RFC 7517, RFC 8037).
 */
#include "verify.h"

#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/canon.h"
#include "base/json_in.h"
#include "base/sign.h"

#define FILE_MAX 4194304

/* What is signed, by which key. */
struct held {
    struct text bytes;
    const char *key_id, *value;
    const char *what; /* for people */
};

static bool read_whole(const char *path, struct text *to)
{
    FILE *f = fopen(path, "re");
    char buf[4096];
    size_t n;

    if (!f) {
        printf("can't read %s: %s\n", path, strerror(errno));
        return false;
    }
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0 && to->len < FILE_MAX)
        text_put(to, buf, n);
    fclose(f);
    if (to->len == 0 || to->len >= FILE_MAX) {
        printf("%s is empty or too large\n", path);
        return false;
    }
    return true;
}

static json_t *read_json(const char *path, const struct text *t)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    json_t *json = NULL;

    if (json_in_parse(t->data, t->len, &json, &err) != RC_OK) {
        printf("%s is no JSON: %s\n", path, err.detail);
        json = NULL;
    }
    arena_free(arena);
    return json;
}

static const char *member(const json_t *object, const char *name)
{
    return json_string_value(json_object_get(object, name));
}

/* {…, "signature":{"algorithm","key","value"}} */
static bool hold_json(const json_t *json, struct held *held)
{
    const json_t *signature = json_object_get(json, "signature");
    const char *algorithm = member(signature, "algorithm");

    held->key_id = member(signature, "key");
    held->value = member(signature, "value");
    if (!held->key_id || !held->value || !algorithm ||
        strcmp(algorithm, "Ed25519") != 0) {
        printf("not signed: there is no member \"signature\" of ours\n");
        return false;
    }
    held->what = json_object_get(json, "number") ? "order" : "prescription";
    canon_write(json, "signature", &held->bytes);
    return true;
}

/* The last two lines: KEY id, SIGNATURE value; text is cut up. */
static bool hold_lines(struct text *text, struct held *held)
{
    char *line = strstr(text->data, "\nSIGNATURE ");
    char *key = strstr(text->data, "\nKEY ");
    char *end;

    if (!line || !key || key > line) {
        printf("not signed: there are no lines KEY and SIGNATURE\n");
        return false;
    }
    text_put(&held->bytes, text->data, (size_t)(line + 1 - text->data));
    held->value = line + strlen("\nSIGNATURE ");
    held->key_id = key + strlen("\nKEY ");
    end = line + strlen("\nSIGNATURE ") + strcspn(held->value, "\r\n");
    if (end + strspn(end, "\r\n") != text->data + text->len) {
        printf("not signed: something stands behind the signature\n");
        return false;
    }
    *end = '\0';
    *line = '\0';
    key[strlen("\nKEY ") + strcspn(held->key_id, "\r\n")] = '\0';
    held->what = "order's square code";
    return true;
}

static const json_t *find_key(const json_t *keys, const char *key_id)
{
    const json_t *list = json_object_get(keys, "keys");
    const char *kid = member(keys, "kid");

    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        const char *id = member(one, "kid");

        if (id && strcmp(id, key_id) == 0)
            return one;
    }
    return kid && strcmp(kid, key_id) == 0 ? keys : NULL;
}

static int judge(const struct held *held, const json_t *keys)
{
    const json_t *key = find_key(keys, held->key_id);
    const char *x = member(key, "x"), *crv = member(key, "crv");
    uint8_t public_key[SIGN_PUBLIC_SIZE], signature[SIGN_SIZE];

    if (!key) {
        printf("can't tell: the key %s is not among the keys\n", held->key_id);
        return 2;
    }
    if (!x || !crv || strcmp(crv, "Ed25519") != 0 ||
        !sign_from_text(x, public_key, sizeof(public_key))) {
        printf("can't tell: the key %s is no Ed25519 key\n", held->key_id);
        return 2;
    }
    if (!sign_from_text(held->value, signature, sizeof(signature)) ||
        !sign_good(public_key, held->bytes.data, held->bytes.len, signature)) {
        printf("NOT GOOD: the %s is not what the key %s signed\n", held->what,
            held->key_id);
        return 1;
    }
    printf(
        "good: the %s is as the key %s signed it\n", held->what, held->key_id);
    return 0;
}

static int verify(const char *file, const char *keys_file)
{
    TEXT_AUTO text = {0};
    TEXT_AUTO keys_text = {0};
    json_auto_t *json = NULL, *keys = NULL;
    struct held held = {0};
    int result = 2;
    bool is_json;

    if (!read_whole(file, &text) || !read_whole(keys_file, &keys_text))
        return 2;
    keys = read_json(keys_file, &keys_text);
    if (!keys)
        return 2;
    is_json = text.data[strspn(text.data, " \t\r\n")] == '{';
    if (is_json && !(json = read_json(file, &text)))
        return 2;
    if (is_json ? hold_json(json, &held) : hold_lines(&text, &held))
        result = judge(&held, keys);
    text_free(&held.bytes);
    return result;
}

static int usage(void)
{
    fputs(VERIFY_USAGE, stderr);
    return 2;
}

int verify_main(int argc, char **argv)
{
    const char *file = NULL, *keys = NULL;

    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--keys") == 0 && i + 1 < argc && !keys)
            keys = argv[++i];
        else if (!file && argv[i][0] != '-')
            file = argv[i];
        else
            return usage();
    }
    return file && keys ? verify(file, keys) : usage();
}
