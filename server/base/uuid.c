#include "base/uuid.h"

#include <sodium.h>

struct uuid uuid_new(int64_t now_us)
{
    struct uuid id;
    uint64_t ms = (uint64_t)now_us / 1000;
    /* RFC 9562 section 6.2, method 3: the fraction of the millisecond in
     * twelve bits. */
    uint32_t part = (uint32_t)((uint64_t)now_us % 1000 * 4096 / 1000);

    randombytes_buf(id.bytes, sizeof(id.bytes));
    for (int i = 0; i < 6; i++)
        id.bytes[i] = (uint8_t)(ms >> (40 - 8 * i));
    id.bytes[6] = (uint8_t)(0x70 | part >> 8);
    id.bytes[7] = (uint8_t)part;
    id.bytes[8] = (uint8_t)(0x80 | (id.bytes[8] & 0x3f));
    return id;
}

static bool dash_at(int i)
{
    return i == 8 || i == 13 || i == 18 || i == 23;
}

char *uuid_text(struct uuid id, char text[UUID_TEXT_SIZE])
{
    static const char hex[] = "0123456789abcdef";
    int at = 0;

    for (int i = 0; i < 16; i++) {
        if (dash_at(at))
            text[at++] = '-';
        text[at++] = hex[id.bytes[i] >> 4];
        text[at++] = hex[id.bytes[i] & 15];
    }
    text[at] = '\0';
    return text;
}

bool uuid_parse(const char *s, size_t len, char lower[UUID_TEXT_SIZE])
{
    if (len != UUID_TEXT_SIZE - 1)
        return false;
    for (int i = 0; i < UUID_TEXT_SIZE - 1; i++) {
        char c = s[i];

        if (c >= 'A' && c <= 'F')
            c = (char)(c - 'A' + 'a');
        if (dash_at(i) ? c != '-'
                       : !((c >= '0' && c <= '9') || (c >= 'a' && c <= 'f')))
            return false;
        lower[i] = c;
    }
    lower[UUID_TEXT_SIZE - 1] = '\0';
    return true;
}

static uint8_t nibble(char c)
{
    return (uint8_t)(c <= '9' ? c - '0' : (c | 0x20) - 'a' + 10);
}

struct uuid uuid_from_text(const char *text)
{
    struct uuid id = {{0}};
    int at = 0;

    for (int i = 0; i < 16; i++) {
        if (dash_at(at))
            at++;
        id.bytes[i] = (uint8_t)(nibble(text[at]) << 4 | nibble(text[at + 1]));
        at += 2;
    }
    return id;
}
