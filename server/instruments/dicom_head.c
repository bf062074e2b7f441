#include "instruments/dicom_head.h"

#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "instruments/dicom_attr.h"

/* Attributes of type 1 (PS3.3) that no other reader here asks for. */
static const struct {
    const char *tag, *keyword;
} REQUIRED[] = {
    {"00080018", "SOPInstanceUID"},
    {"0020000D", "StudyInstanceUID"},
    {"0020000E", "SeriesInstanceUID"},
    {"00200013", "InstanceNumber"},
    {"00080070", "Manufacturer"},
    {"00081090", "ManufacturerModelName"},
    {"00181000", "DeviceSerialNumber"},
    {"00181020", "SoftwareVersions"},
    {"00080023", "ContentDate"},
    {"00080033", "ContentTime"},
};

/* Digits and points, at most 64, not empty (PS3.5 section 9, from memory). */
static void read_uid(struct json_in set, const char *tag, const char **ret)
{
    const char *uid;

    if (!dicom_text(set, tag, 64, &uid))
        return;
    if (uid[strspn(uid, "0123456789.")])
        err_fault(set.err, dicom_value(set, tag, 0).pointer,
            "must be a unique identifier of digits and points");
    else
        *ret = uid;
}

/* The number that n digits at s make, or -1. */
static int digits(const char *s, int n)
{
    int value = 0;

    for (int i = 0; i < n; i++) {
        if (s[i] < '0' || s[i] > '9')
            return -1;
        value = value * 10 + (s[i] - '0');
    }
    return value;
}

/* VR DA: YYYYMMDD as YYYY-MM-DD. */
static const char *read_date(struct json_in set, const char *tag)
{
    const char *da, *iso = NULL;

    if (!dicom_text(set, tag, 16, &da))
        return NULL;
    if (strlen(da) == 8 && digits(da, 8) >= 0) {
        iso =
            arena_printf(set.err->arena, "%.4s-%.2s-%.2s", da, da + 4, da + 6);
        if (instant_date_valid(iso))
            return iso;
    }
    err_fault(set.err, dicom_value(set, tag, 0).pointer,
        "must be a date, as 20260910, not \"%s\"", da);
    return NULL;
}

/* Microseconds of a fraction .F to .FFFFFF, or -1. */
static int64_t fraction_us(const char *s)
{
    size_t n = strlen(s + 1);
    int64_t us;

    if (*s != '.' || n < 1 || n > 6)
        return -1;
    us = digits(s + 1, (int)n);
    for (; us > 0 && n < 6; n++)
        us *= 10;
    return us;
}

/* VR TM: HH, HHMM, HHMMSS or HHMMSS.F to .FFFFFF, as microseconds of the day;
 * -1 for anything else. */
static int64_t time_us(const char *tm)
{
    static const int below[] = {24, 60, 60};
    int64_t seconds = 0, us = 0;
    int parts = 0;

    while (parts < 3 && tm[0] && tm[0] != '.') {
        int two = tm[1] ? digits(tm, 2) : -1;

        if (two < 0 || two >= below[parts])
            return -1;
        seconds = seconds * 60 + two;
        parts++;
        tm += 2;
    }
    if (parts == 0 || (*tm && (parts < 3 || (us = fraction_us(tm)) < 0)))
        return -1;
    for (; parts < 3; parts++)
        seconds *= 60;
    return seconds * 1000000 + us;
}

/* TimezoneOffsetFromUTC: &ZZXX, -1200 to +1400. */
static bool read_offset(struct json_in set, int *ret_min)
{
    const char *s;
    int hours, minutes;

    if (!dicom_text(set, "00080201", 16, &s))
        return false;
    hours = strlen(s) == 5 ? digits(s + 1, 2) : -1;
    minutes = hours >= 0 ? digits(s + 3, 2) : -1;
    if ((*s != '+' && *s != '-') || minutes < 0 || minutes > 59 ||
        hours > (*s == '-' ? 12 : 14)) {
        err_fault(set.err, dicom_value(set, "00080201", 0).pointer,
            "must be an offset, as +0100, not \"%s\"", s);
        return false;
    }
    *ret_min = (*s == '-' ? -1 : 1) * (hours * 60 + minutes);
    return true;
}

static void read_taken(struct json_in set, const struct instruments_zone *zone,
    struct record_reading *r)
{
    const char *date = read_date(set, "00080023"), *tm = NULL;
    size_t before = set.err->n_faults;
    int64_t local_us;

    if (dicom_text(set, "00080033", 16, &tm) && time_us(tm) < 0)
        err_fault(set.err, dicom_value(set, "00080033", 0).pointer,
            "must be a time, as 101500, not \"%s\"", tm);
    if (!read_offset(set, &r->taken_offset_min))
        r->offset_assumed = set.err->n_faults == before;
    if (!date || !tm || set.err->n_faults > before)
        return;
    local_us = instant_days(
                   digits(date, 4), digits(date + 5, 2), digits(date + 8, 2)) *
                   86400000000LL +
               time_us(tm);
    if (r->offset_assumed && zone->offset_min)
        r->taken_offset_min = zone->offset_min(zone->zone, local_us);
    r->taken_us = local_us - r->taken_offset_min * 60000000LL;
}

/* The words of a name's part, spaces for the signs between and around. */
static const char *name_part(struct arena *arena, const char *s, size_t len)
{
    while (len && (*s == ' ' || *s == '^')) {
        s++;
        len--;
    }
    while (len && (s[len - 1] == ' ' || s[len - 1] == '^'))
        len--;
    return len ? arena_memdup(arena, s, len) : NULL;
}

/* Family^Given^Middle^Prefix^Suffix; the middle name stands with the given
 * one, prefix and suffix are left to the original. */
static void split_name(
    struct arena *arena, const char *pn, struct record_patient_ref *p)
{
    size_t family = strcspn(pn, "^"), given, middle;
    const char *rest = pn + family + (pn[family] == '^');
    char *joined;

    given = strcspn(rest, "^");
    middle = rest[given] ? strcspn(rest + given + 1, "^") : 0;
    p->family = name_part(arena, pn, family);
    joined = arena_memdup(arena, rest, given + (rest[given] == '^') + middle);
    for (char *c = joined; *c; c++)
        if (*c == '^')
            *c = ' ';
    p->given = name_part(arena, joined, strlen(joined));
}

const char *dicom_name_words(struct arena *arena, const char *pn)
{
    /* Prefix, given, middle, family, suffix: where each stands in a PN. */
    static const int order[] = {3, 1, 2, 0, 4};
    const char *parts[5] = {"", "", "", "", ""}, *words = "";
    int n = 0;

    for (char *at = arena_strdup(arena, pn); at && n < 5;)
        parts[n++] = strsep(&at, "^");
    for (size_t i = 0; i < ARRAY_LEN(order); i++)
        if (*parts[order[i]])
            words = arena_printf(
                arena, "%s%s%s", words, *words ? " " : "", parts[order[i]]);
    return words;
}

static void read_name(struct json_in set, struct record_patient_ref *p)
{
    static const char *const groups[] = {
        "Alphabetic", "Ideographic", "Phonetic"};
    struct json_in at;
    const char *pn;

    if (dicom_count(set, "00100010") == 0)
        return;
    at = dicom_value(set, "00100010", 0);
    if (!json_is_object(at.value)) {
        err_fault(set.err, at.pointer, "must be a name (an object)");
        return;
    }
    for (size_t i = 0; i < ARRAY_LEN(groups); i++) {
        struct json_in group = json_in_get(at, groups[i]);

        if (json_in_here(group)) {
            if (json_in_text(group, 400, &pn))
                split_name(set.err->arena, pn, p);
            return;
        }
    }
}

static void read_patient(struct json_in set, struct record_patient_ref *p)
{
    read_name(set, p);
    p->born = read_date(set, "00100030");
    dicom_text(set, "00100020", 64, &p->record_number);
    if (p->record_number)
        dicom_text(set, "00100021", 64, &p->issuer);
    p->here = p->record_number || p->family || p->given || p->born;
}

void dicom_head_read(struct json_in set, const struct instruments_zone *zone,
    struct record_reading *reading)
{
    struct record_device *d = &reading->device;

    for (size_t i = 0; i < ARRAY_LEN(REQUIRED); i++)
        (void)dicom_need(set, REQUIRED[i].tag, REQUIRED[i].keyword);
    read_uid(set, "00080016", &reading->dicom.sop_class);
    read_uid(set, "00080018", &reading->dicom.sop_instance);
    read_uid(set, "0020000D", &reading->dicom.study);
    read_uid(set, "0020000E", &reading->dicom.series);
    dicom_text(set, "00080070", 64, &d->manufacturer);
    dicom_text(set, "00081090", 64, &d->model);
    dicom_text(set, "00181000", 64, &d->serial);
    dicom_text(set, "00181020", 64, &d->software);
    read_patient(set, &reading->patient);
    read_taken(set, zone, reading);
    dicom_text(set, "00204000", 2000, &reading->comment);
}

/* A fault when the instance holds another side than tag says. */
static void check_said(struct json_in set, const char *tag, char said,
    const struct record_reading *r)
{
    bool right = r->eyes[RECORD_RIGHT].here, left = r->eyes[RECORD_LEFT].here;
    bool unknown = r->eyes[RECORD_UNSPECIFIED].here && !right && !left;
    const char *not_said = NULL;

    if (unknown)
        not_said = "a lens of unknown side";
    else if (r->eyes[RECORD_BOTH].here && said != 'B')
        not_said = "both eyes together";
    else if (right && said == 'L')
        not_said = "the right side";
    else if (left && said == 'R')
        not_said = "the left side";
    if (not_said)
        err_fault(set.err, dicom_value(set, tag, 0).pointer,
            "says \"%c\", but the instance holds %s", said, not_said);
}

void dicom_laterality_check(
    struct json_in set, const struct record_reading *reading)
{
    static const char *const sides[] = {"R", "L", "B", NULL};
    static const char *const series_sides[] = {"R", "L", NULL};
    struct json_in series = json_in_get(set, "00200060");
    int i;

    if (dicom_word(set, "00240113", sides, &i))
        check_said(set, "00240113", *sides[i], reading);
    else if (!json_in_here(json_in_get(set, "00240113")) &&
             !json_in_here(series))
        err_fault(set.err, json_in_get(set, "00240113").pointer,
            "is required (MeasurementLaterality) where Laterality is absent");
    if (dicom_word(set, "00200060", series_sides, &i))
        check_said(set, "00200060", *series_sides[i], reading);
}
