#pragma once
/*
 * base/json_merge.h - JSON Merge Patch (RFC 7396).
 */
#include <jansson.h>

/*
 * What patch makes of target: an object's members are merged, null removes
 * one, anything else replaces.  target may be NULL (nothing stands there).
 * Both are borrowed; the answer is the caller's (json_decref) and shares
 * nothing that patch or target would change.
 */
json_t *json_merge(const json_t *target, const json_t *patch);
