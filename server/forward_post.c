#include "forward_post.h"

#include <arpa/inet.h>
#include <assert.h>
#include <curl/curl.h>
#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/arena.h"
#include "forward_answer.h"

#define TOKEN_MOST 512
#define CONNECT_S 15
#define FDS_MOST 4

struct forward_poster {
    const struct forward_target *target; /* borrowed */
    CURLM *multi;
    CURL *easy;
    struct curl_slist *headers;
    const struct forward_item *item; /* borrowed; NULL when idle */
    off_t sent;
    struct forward_answer answer;
    struct text trouble, reason;
    char why[CURL_ERROR_SIZE];
    bool ended; /* the outcome waits to be taken */
    CURLcode code;
};

/* ---- the address ------------------------------------------------------ */

/* A name may begin as an address of this machine does. */
static bool loopback(const char *host)
{
    uint8_t address[4];

    return strcasecmp(host, "localhost") == 0 || strcmp(host, "[::1]") == 0 ||
           (inet_pton(AF_INET, host, address) == 1 && address[0] == 127);
}

static bool has_part(CURLU *url, CURLUPart part)
{
    char *text = NULL;
    bool has = curl_url_get(url, part, &text, 0) == CURLUE_OK;

    curl_free(text);
    return has;
}

static enum rc url_check(
    CURLU *url, const struct forward_target *target, struct err *err)
{
    char *scheme = NULL, *host = NULL;
    enum rc rc = RC_OK;

    if (curl_url_set(url, CURLUPART_URL, target->url, 0) != CURLUE_OK ||
        curl_url_get(url, CURLUPART_SCHEME, &scheme, 0) != CURLUE_OK ||
        curl_url_get(url, CURLUPART_HOST, &host, 0) != CURLUE_OK ||
        (strcmp(scheme, "https") != 0 && strcmp(scheme, "http") != 0))
        rc = err_set(err, RC_INVALID, "--url",
            "\"%s\" is no http or https address", target->url);
    else if (has_part(url, CURLUPART_USER) || has_part(url, CURLUPART_QUERY) ||
             has_part(url, CURLUPART_FRAGMENT))
        rc = err_set(err, RC_INVALID, "--url",
            "\"%s\" must be an address without user, query and fragment",
            target->url);
    else if (strcmp(scheme, "http") == 0 && !loopback(host) && !target->plain)
        rc = err_set(err, RC_INVALID, "--url",
            "\"%s\" would carry token and measurements unencrypted; use "
            "https, or --plain on a network of your own",
            target->url);
    curl_free(scheme);
    curl_free(host);
    return rc;
}

enum rc forward_target_check(
    const struct forward_target *target, struct err *err)
{
    CURLU *url = curl_url();
    enum rc rc;

    if (!url)
        return err_set(err, RC_INTERNAL, NULL, "out of memory");
    rc = url_check(url, target, err);
    curl_url_cleanup(url);
    return rc;
}

/* ---- callbacks of libcurl --------------------------------------------- */

static size_t give(char *to, size_t size, size_t n, void *arg)
{
    struct forward_poster *p = arg;
    ssize_t got =
        pread(p->item->fd, to, size * n, FORWARD_LABEL_SIZE + p->sent);

    if (got < 0)
        return CURL_READFUNC_ABORT;
    p->sent += got;
    return (size_t)got;
}

static int rewind_to(void *arg, curl_off_t at, int whence)
{
    struct forward_poster *p = arg;

    if (whence != SEEK_SET)
        return CURL_SEEKFUNC_CANTSEEK;
    p->sent = at;
    return CURL_SEEKFUNC_OK;
}

static size_t header(char *line, size_t size, size_t n, void *arg)
{
    static const char ndjson[] = "content-type: application/x-ndjson";
    struct forward_poster *p = arg;

    if (size * n >= 5 && strncasecmp(line, "HTTP/", 5) == 0)
        forward_answer_begin(&p->answer);
    if (size * n > strlen(ndjson) &&
        strncasecmp(line, ndjson, strlen(ndjson)) == 0)
        p->answer.lines = true;
    return size * n;
}

static size_t take(char *bytes, size_t size, size_t n, void *arg)
{
    struct forward_poster *p = arg;

    forward_answer_add(&p->answer, bytes, size * n);
    return size * n;
}

/* ---- one request ------------------------------------------------------ */

static void check(CURLcode code)
{
    assert(code == CURLE_OK); /* of an option that this libcurl knows */
}

struct forward_poster *forward_poster_new(const struct forward_target *target)
{
    struct forward_poster *p = xcalloc(1, sizeof(*p));

    p->target = target;
    p->multi = curl_multi_init();
    p->easy = curl_easy_init();
    assert(p->multi && p->easy);
    check(curl_easy_setopt(p->easy, CURLOPT_PROTOCOLS_STR, "http,https"));
    check(curl_easy_setopt(p->easy, CURLOPT_NOSIGNAL, 1L));
    check(curl_easy_setopt(p->easy, CURLOPT_NOPROGRESS, 1L));
    check(curl_easy_setopt(p->easy, CURLOPT_POST, 1L));
    check(curl_easy_setopt(p->easy, CURLOPT_READFUNCTION, give));
    check(curl_easy_setopt(p->easy, CURLOPT_READDATA, p));
    check(curl_easy_setopt(p->easy, CURLOPT_SEEKFUNCTION, rewind_to));
    check(curl_easy_setopt(p->easy, CURLOPT_SEEKDATA, p));
    check(curl_easy_setopt(p->easy, CURLOPT_HEADERFUNCTION, header));
    check(curl_easy_setopt(p->easy, CURLOPT_HEADERDATA, p));
    check(curl_easy_setopt(p->easy, CURLOPT_WRITEFUNCTION, take));
    check(curl_easy_setopt(p->easy, CURLOPT_WRITEDATA, p));
    check(curl_easy_setopt(p->easy, CURLOPT_ERRORBUFFER, p->why));
    check(curl_easy_setopt(
        p->easy, CURLOPT_USERAGENT, "lensclerk-forward/" LENS_VERSION));
    check(curl_easy_setopt(p->easy, CURLOPT_CONNECTTIMEOUT, (long)CONNECT_S));
    check(curl_easy_setopt(p->easy, CURLOPT_LOW_SPEED_LIMIT, 1L));
    check(curl_easy_setopt(
        p->easy, CURLOPT_LOW_SPEED_TIME, (long)target->silence_s));
    /* A proxy of the environment would see what isn't encrypted. */
    if (strncasecmp(target->url, "http:", 5) == 0)
        check(curl_easy_setopt(p->easy, CURLOPT_PROXY, ""));
    if (target->ca_file)
        check(curl_easy_setopt(p->easy, CURLOPT_CAINFO, target->ca_file));
    return p;
}

static void stop(struct forward_poster *p)
{
    if (p->item)
        curl_multi_remove_handle(p->multi, p->easy);
    p->item = NULL;
    curl_slist_free_all(p->headers);
    p->headers = NULL;
}

void forward_poster_free(struct forward_poster *poster)
{
    if (!poster)
        return;
    stop(poster);
    curl_easy_cleanup(poster->easy);
    curl_multi_cleanup(poster->multi);
    forward_answer_free(&poster->answer);
    text_free(&poster->trouble);
    text_free(&poster->reason);
    free(poster);
}

/* One line of visible characters; a file that everybody may read is refused. */
static enum rc token_read(
    const char *path, char ret[TOKEN_MOST + 1], struct err *err)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    struct stat st;
    ssize_t n;
    size_t len;

    if (fd < 0 || fstat(fd, &st) || (n = read(fd, ret, TOKEN_MOST)) < 0) {
        err_set(err, RC_INVALID, NULL, "can't read the token file %s: %s", path,
            strerror(errno));
        if (fd >= 0)
            close(fd);
        return RC_INVALID;
    }
    close(fd);
    ret[n] = '\0';
    len = strcspn(ret, "\r\n");
    for (size_t i = 0; i < len; i++)
        if (ret[i] < 0x21 || ret[i] > 0x7e)
            len = 0;
    if (len == 0)
        return err_set(
            err, RC_INVALID, NULL, "the token file %s holds no token", path);
    if (st.st_mode & S_IROTH)
        return err_set(err, RC_INVALID, NULL,
            "the token file %s can be read by every user; chmod o-r it", path);
    ret[len] = '\0';
    return RC_OK;
}

static void add_header(
    struct forward_poster *p, const char *name, const char *value)
{
    TEXT_AUTO line = {0};
    struct curl_slist *more;

    text_printf(&line, "%s: %s", name, value);
    more = curl_slist_append(p->headers, line.data);
    sodium_memzero(line.data, line.len);
    assert(more);
    p->headers = more;
}

static void set_address(struct forward_poster *p)
{
    const struct forward_item *item = p->item;
    const char *base = p->target->url;
    size_t len = strlen(base);
    TEXT_AUTO url = {0};

    while (len > 0 && base[len - 1] == '/')
        len--;
    text_put(&url, base, len);
    text_puts(&url, "/v1/readings");
    if (*item->label.profile) {
        char *word = curl_easy_escape(p->easy, item->label.profile, 0);

        assert(word);
        text_printf(&url, "?profile=%s", word);
        curl_free(word);
    }
    check(curl_easy_setopt(p->easy, CURLOPT_URL, url.data));
}

enum rc forward_poster_start(struct forward_poster *poster,
    const struct forward_item *item, struct err *err)
{
    char token[TOKEN_MOST + 1];
    TEXT_AUTO bearer = {0};

    TRY(token_read(poster->target->token_file, token, err));
    text_printf(&bearer, "Bearer %s", token);
    poster->item = item;
    poster->sent = 0;
    poster->ended = false;
    *poster->why = '\0';
    forward_answer_begin(&poster->answer);
    add_header(poster, "Authorization", bearer.data);
    add_header(poster, "Content-Type", item->label.media);
    add_header(poster, "Idempotency-Key", item->key);
    add_header(poster, "Expect", ""); /* no round trip before the content */
    set_address(poster);
    check(curl_easy_setopt(
        poster->easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)item->length));
    check(curl_easy_setopt(poster->easy, CURLOPT_HTTPHEADER, poster->headers));
    sodium_memzero(token, sizeof(token));
    sodium_memzero(bearer.data, bearer.len);
    if (curl_multi_add_handle(poster->multi, poster->easy) != CURLM_OK) {
        poster->item = NULL;
        return err_set(err, RC_BUSY, NULL, "can't begin to send");
    }
    return RC_OK;
}

bool forward_poster_busy(const struct forward_poster *poster)
{
    return poster->item != NULL;
}

static void look(struct forward_poster *p)
{
    CURLMsg *message;
    int left;

    while ((message = curl_multi_info_read(p->multi, &left))) {
        if (message->msg != CURLMSG_DONE)
            continue;
        p->ended = true;
        p->code = message->data.result;
    }
}

void forward_poster_wait(struct forward_poster *poster, const int *fds,
    bool *ret_ready, size_t n, int ms)
{
    struct curl_waitfd extra[FDS_MOST];
    size_t at[FDS_MOST];
    unsigned used = 0;
    int running;

    assert(n <= FDS_MOST);
    for (size_t i = 0; i < n; i++) {
        ret_ready[i] = false;
        if (fds[i] < 0)
            continue;
        extra[used] = (struct curl_waitfd){fds[i], CURL_WAIT_POLLIN, 0};
        at[used++] = i;
    }
    curl_multi_poll(poster->multi, extra, used, ms, NULL);
    for (unsigned i = 0; i < used; i++)
        ret_ready[at[i]] = extra[i].revents != 0;
    curl_multi_perform(poster->multi, &running);
    look(poster);
}

/* ---- the outcome ------------------------------------------------------ */

static const char *trouble_of(int status)
{
    switch (status) {
    case 401:
        return "the service doesn't know the token";
    case 403:
        return "the service doesn't let this token send readings";
    case 404:
        return "the service isn't at this address";
    default:
        return "the service doesn't take it now";
    }
}

static void judge_lines(struct forward_poster *p, struct forward_outcome *o)
{
    const struct forward_answer *a = &p->answer;

    if (a->garbled) {
        o->verdict = FORWARD_LATER;
        text_puts(&p->trouble, "a line of the answer can't be read");
    } else if (a->worst) {
        o->verdict = forward_verdict_of(a->worst);
        text_printf(&p->trouble, "a line was answered %d: %s", a->worst,
            trouble_of(a->worst));
    } else if (a->refused) {
        o->verdict = FORWARD_REFUSED;
        o->status = 422;
    }
}

/* Not the file is wrong but how we were told to send it.  Items of another
 * profile needn't wait. */
static bool profile_wrong(const struct forward_poster *p)
{
    return *p->item->label.profile &&
           forward_answer_names(&p->answer, "/profile");
}

static void judge(struct forward_poster *p, struct forward_outcome *o)
{
    curl_off_t after = 0;
    long status = 0;

    curl_easy_getinfo(p->easy, CURLINFO_RESPONSE_CODE, &status);
    curl_easy_getinfo(p->easy, CURLINFO_RETRY_AFTER, &after);
    if (after > FORWARD_RETRY_AFTER_MOST_S)
        after = FORWARD_RETRY_AFTER_MOST_S;
    o->status = (int)status;
    o->verdict = forward_verdict_of((int)status);
    o->retry_after_ms = after * 1000;
    forward_answer_end(&p->answer);
    if (o->verdict == FORWARD_TAKEN && p->answer.lines)
        judge_lines(p, o);
    else if (o->verdict == FORWARD_LATER || o->verdict == FORWARD_ALL_LATER)
        text_printf(
            &p->trouble, "%d: %s", (int)status, trouble_of((int)status));
    if (o->verdict == FORWARD_REFUSED && profile_wrong(p)) {
        o->verdict = FORWARD_LATER;
        o->no_profile = true;
        text_printf(&p->trouble,
            "%d: the service has no profile \"%s\" for this", (int)status,
            p->item->label.profile);
    }
    if (o->verdict == FORWARD_REFUSED)
        forward_answer_reason(&p->answer, (int)status, &p->reason);
}

/* Refused before all of it was sent, and then the line was cut. */
static bool refused_early(const struct forward_poster *p)
{
    long status = 0;

    curl_easy_getinfo(p->easy, CURLINFO_RESPONSE_CODE, &status);
    return forward_verdict_of((int)status) == FORWARD_REFUSED;
}

/* Where the line broke while it was sent, this item may be the cause. */
static void no_answer(struct forward_poster *p, struct forward_outcome *o)
{
    if (p->sent > 0)
        o->verdict = FORWARD_LATER;
    /* libcurl's own words for these name milliseconds, which would make each
     * try another trouble. */
    if (p->code == CURLE_COULDNT_CONNECT || p->code == CURLE_OPERATION_TIMEDOUT)
        *p->why = '\0';
    text_printf(&p->trouble, "no answer: %s",
        *p->why ? p->why : curl_easy_strerror(p->code));
}

bool forward_poster_outcome(
    struct forward_poster *poster, struct forward_outcome *ret)
{
    if (!poster->ended)
        return false;
    poster->ended = false;
    poster->trouble.len = poster->reason.len = 0;
    *ret = (struct forward_outcome){.verdict = FORWARD_ALL_LATER};
    if (poster->code == CURLE_OK || refused_early(poster))
        judge(poster, ret);
    else
        no_answer(poster, ret);
    ret->trouble = poster->trouble.len ? poster->trouble.data : NULL;
    ret->reason = poster->reason.len ? poster->reason.data : "";
    stop(poster);
    return true;
}
