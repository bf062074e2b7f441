#pragma once
/*
 * http/optics_io.h - the figures of POST /v1/optics as JSON.
 *
 * Each item of a request has an err of its own.  A reader that finds a fault
 * adds it there and returns zeros, with which the core may be called: its
 * answer is thrown away.  Below a place without an object readers are silent,
 * for that fault stands already.  Writers put members into the object that is
 * open.  Nothing is rounded on either side.
 */
#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/acuity.h"
#include "optics/prism.h"
#include "optics/vector.h"

/* One function: reads the object in, computes, writes members of the answer,
 * which count only when in.err has no fault afterwards. */
typedef void http_optics_fn(struct json_in in, struct json_out *o);

/* The required number of which (optics/fault.def), that makes sense as it. */
double http_optics_arg(struct json_in in, enum optics_fault which);

/* Adds a fault of the core, if it is one, at its argument's member of in. */
void http_optics_blame(struct json_in in, enum optics_fault fault);

/* True when in.err has no fault and fault is OPTICS_OK.  Where only the core
 * found one, it is added as above. */
bool http_optics_right(struct json_in in, enum optics_fault fault);

/* True when the member stands there and isn't null. */
bool http_optics_has(struct json_in in, const char *name);

/* An object member whose names all stand in names (NULL-ended); required. */
struct json_in http_optics_object(
    struct json_in in, const char *name, const char *const names[]);

/* Members sphere, cylinder (absent: none) and axis; an axis of 0 is 180. */
struct optics_power http_optics_power(struct json_in in);

/* The same in an object member or item of its own. */
struct optics_power http_optics_lens(struct json_in at);

/* Members eye; base_in and base_up. */
enum optics_eye http_optics_eye(struct json_in in);
struct optics_prism http_optics_prism(struct json_in in);

/* The index of one of words (NULL-ended); required. */
int http_optics_word(
    struct json_in in, const char *name, const char *const words[]);

/* The one of n arguments that stands there; *ret_i is which. */
double http_optics_one_of(
    struct json_in in, const enum optics_fault which[], int n, int *ret_i);

/* sphere, cylinder and axis; cylinder and axis (null without cylinder). */
void http_optics_put_power(struct json_out *o, struct optics_power p);
void http_optics_put_cylinder(struct json_out *o, struct optics_power p);
/* An angle, null where there is none. */
void http_optics_put_angle(
    struct json_out *o, const char *key, double angle, bool there);
/* m, j0, j45. */
void http_optics_put_vector(struct json_out *o, struct optics_vector v);
/* base_in and base_up, in the open object and in one of their own. */
void http_optics_put_prism(struct json_out *o, struct optics_prism p);
void http_optics_put_side(
    struct json_out *o, const char *key, struct optics_prism p);
/* amount, and angle (null without amount). */
void http_optics_put_base(struct json_out *o, struct optics_base b);
