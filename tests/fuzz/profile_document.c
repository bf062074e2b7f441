/* Any bytes as a profile's own document; a good one then reads a row. */
#include <jansson.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "instruments/profile.h"
#include "reading_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

static void use(const struct profile *profile, struct arena *arena)
{
    static const char rows[] = "number,at,eye,sph,cyl,axis\n"
                               "Q-1,2026-03-02T09:14:05Z,R,-2.25,-0.75,172\n";
    static const char *const payloads[] = {rows,
        "<sessions xmlns='urn:example:sessions:1'><session/></sessions>",
        "{\"results\": [{\"at\": \"2026/03/02 09:14\", \"lenses\": [{}]}]}"};

    for (size_t i = 0; i < ARRAY_LEN(payloads); i++) {
        struct instruments_input in = {
            .bytes = payloads[i], .len = strlen(payloads[i])};
        struct instruments_readings readings = {0};
        struct err err = ERR_INIT(arena);
        enum rc rc = profile_decode(profile, &in, &readings, &err);

        PROMISE((rc == RC_OK) == (readings.n > 0));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    const struct profile *profile = NULL;
    json_t *doc = NULL;

    if (json_in_parse((const char *)bytes, len, &doc, &err) == RC_OK) {
        enum rc rc = profile_read(json_in_root(doc, &err), &profile);

        PROMISE((rc == RC_OK) == (err.n_faults == 0));
        PROMISE((rc == RC_OK) == (profile != NULL));
        json_decref(doc); /* a profile borrows nothing of it */
        if (profile)
            use(profile, arena);
    }
    arena_free(arena);
    return 0;
}
