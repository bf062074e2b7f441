/* What multipart promises whatever the bytes: parts lie in the body, in order
 * and apart, and are as many as there are boundaries at most. */
#include <stdint.h>
#include <string.h>

#include "base/multipart.h"
#include "reading_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

/* The first line is a Content-Type, the rest a body. */
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len)
{
    const char *body = memchr(bytes, '\n', len);
    const char *at, *end = (const char *)bytes + len;
    char type[200] = "", boundary[MULTIPART_BOUNDARY_MAX + 1];
    struct multipart m;
    struct multipart_part part;
    size_t n = 0;

    if (!body || (size_t)(body - (const char *)bytes) >= sizeof(type))
        return 0;
    memcpy(type, bytes, (size_t)(body - (const char *)bytes));
    if (!multipart_parameter(type, "boundary", boundary, sizeof(boundary)))
        return 0;
    PROMISE(strlen(boundary) < sizeof(boundary));
    at = ++body;
    if (!multipart_start(&m, boundary, body, (size_t)(end - body)))
        return 0;
    while (multipart_next(&m, &part) == MULTIPART_PART) {
        PROMISE(part.bytes >= at && part.len <= (size_t)(end - part.bytes));
        PROMISE(memchr(part.type, '\0', sizeof(part.type)));
        at = part.bytes + part.len;
        n++;
    }
    PROMISE(n <= len / strlen(m.delimiter));
    return 0;
}
