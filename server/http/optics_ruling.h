#pragma once
/*
 * http/optics_ruling.h - profiles, designs and rulings of optics/tolerance.h
 * as JSON; as http/optics_io.h.
 */
#include "http/optics_io.h"
#include "optics/pair.h"
#include "optics/tolerance.h"

/* Members profile and lens_type, required. */
enum optics_profile http_optics_profile(struct json_in in);
enum optics_lens_type http_optics_lens_type(struct json_in in);

/* {"verdict", "rules": [{"by", "unit", "limit", "error", "verdict",
 * "source"}]}; without limits that this profile has, an empty list. */
void http_optics_put_ruling(
    struct json_out *o, const char *key, const struct optics_ruling *line);

/* The members of a pair-check's answer. */
void http_optics_put_pair(struct json_out *o, const struct optics_pair *pair,
    const struct optics_pair_verdict *v);
