/* http/post.c - messages posted to webhooks. */
#include "http/post.h"

#include <curl/curl.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/arena.h"
#include "base/hash.h"
#include "base/sign.h"
#include "base/text.h"

#define CONNECT_MS 5000
#define ALL_MS 10000
#define MAC_TEXT_SIZE 45

/* By its number, not by a name that only begins like one. */
static bool loopback(const char *host)
{
    return strcasecmp(host, "localhost") == 0 || strcmp(host, "[::1]") == 0 ||
           (strncmp(host, "127.", 4) == 0 &&
               !host[strspn(host, "0123456789.")]);
}

bool post_url_good(const char *text)
{
    CURLU *url = curl_url();
    char *scheme = NULL, *host = NULL, *user = NULL;
    bool good = false;

    if (!url)
        return false;
    if (curl_url_set(url, CURLUPART_URL, text, 0) == CURLUE_OK &&
        curl_url_get(url, CURLUPART_SCHEME, &scheme, 0) == CURLUE_OK &&
        curl_url_get(url, CURLUPART_HOST, &host, 0) == CURLUE_OK)
        good = strcmp(scheme, "https") == 0 ||
               (strcmp(scheme, "http") == 0 && loopback(host));
    if (curl_url_get(url, CURLUPART_USER, &user, 0) == CURLUE_OK)
        good = false; /* a secret that would stand in the database */
    curl_free(scheme);
    curl_free(host);
    curl_free(user);
    curl_url_cleanup(url);
    return good;
}

/* ---- one message ------------------------------------------------------------
 */

static size_t drop(char *bytes, size_t size, size_t n, void *arg)
{
    (void)bytes;
    (void)arg;
    return size * n;
}

static struct curl_slist *add(struct curl_slist *list, const char *line)
{
    struct curl_slist *longer = curl_slist_append(list, line);

    return longer ? longer : list;
}

/* The signature's base and parameters are those of RFC 9421, 2.3 and 2.5. */
static struct curl_slist *headers_of(
    const struct post_message *m, int64_t now_us)
{
    static const char covered[] =
        "(\"@method\" \"@target-uri\" \"content-digest\" \"content-type\")";
    uint8_t hash[HASH_SIZE], mac[SIGN_MAC_SIZE];
    char digest[HASH_BASE64_SIZE], value[MAC_TEXT_SIZE];
    struct curl_slist *list = NULL;
    TEXT_AUTO params = {0};
    TEXT_AUTO base = {0};
    TEXT_AUTO line = {0};

    hash_bytes(m->body, strlen(m->body), hash);
    hash_base64(hash, digest);
    text_printf(&params, "%s;created=%lld;keyid=\"%s\";alg=\"hmac-sha256\"",
        covered, (long long)(now_us / 1000000), m->webhook_id);
    text_printf(&base,
        "\"@method\": POST\n\"@target-uri\": %s\n"
        "\"content-digest\": sha-256=:%s:\n"
        "\"content-type\": application/json\n\"@signature-params\": %s",
        m->url, digest, params.data);
    sign_mac(m->secret, sizeof(m->secret), base.data, "", mac);
    sodium_bin2base64(
        value, sizeof(value), mac, sizeof(mac), sodium_base64_VARIANT_ORIGINAL);
    list = add(list, "Content-Type: application/json");
    list = add(list, "Expect:");
    text_printf(&line, "Content-Digest: sha-256=:%s:", digest);
    list = add(list, line.data);
    line.len = 0;
    text_printf(&line, "Signature-Input: sig1=%s", params.data);
    list = add(list, line.data);
    line.len = 0;
    text_printf(&line, "Signature: sig1=:%s:", value);
    return add(list, line.data);
}

/* Parts of a transfer that live as long as it does. */
struct transfer {
    CURL *easy;
    struct curl_slist *headers;
    char why[CURL_ERROR_SIZE];
};

static bool begin(struct transfer *t, struct post_message *m, int64_t now_us)
{
    t->easy = curl_easy_init();
    if (!t->easy)
        return false;
    t->headers = headers_of(m, now_us);
    curl_easy_setopt(t->easy, CURLOPT_URL, m->url);
    curl_easy_setopt(t->easy, CURLOPT_POST, 1L);
    curl_easy_setopt(t->easy, CURLOPT_POSTFIELDS, m->body);
    curl_easy_setopt(t->easy, CURLOPT_POSTFIELDSIZE, (long)strlen(m->body));
    curl_easy_setopt(t->easy, CURLOPT_HTTPHEADER, t->headers);
    curl_easy_setopt(t->easy, CURLOPT_PROTOCOLS_STR, "http,https");
    curl_easy_setopt(t->easy, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(t->easy, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(t->easy, CURLOPT_CONNECTTIMEOUT_MS, (long)CONNECT_MS);
    curl_easy_setopt(t->easy, CURLOPT_TIMEOUT_MS, (long)ALL_MS);
    curl_easy_setopt(t->easy, CURLOPT_WRITEFUNCTION, drop);
    curl_easy_setopt(t->easy, CURLOPT_ERRORBUFFER, t->why);
    curl_easy_setopt(t->easy, CURLOPT_USERAGENT, "Lensclerk");
    curl_easy_setopt(t->easy, CURLOPT_PRIVATE, m);
    return true;
}

static void end(struct transfer *t, struct post_message *m, CURLcode code)
{
    long status = 0;
    const char *why = *t->why ? t->why : curl_easy_strerror(code);

    curl_easy_getinfo(t->easy, CURLINFO_RESPONSE_CODE, &status);
    m->status = code == CURLE_OK ? (int)status : 0;
    if (code != CURLE_OK)
        snprintf(m->why, sizeof(m->why), "%s", why);
}

static void take_ended(
    CURLM *multi, struct transfer *all, struct post_message *messages)
{
    CURLMsg *msg;
    int left;

    while ((msg = curl_multi_info_read(multi, &left))) {
        struct post_message *m = NULL;

        if (msg->msg != CURLMSG_DONE)
            continue;
        curl_easy_getinfo(msg->easy_handle, CURLINFO_PRIVATE, (char **)&m);
        end(&all[m - messages], m, msg->data.result);
    }
}

void post_all(struct post_message *messages, size_t n, int64_t now_us)
{
    CURLM *multi = curl_multi_init();
    struct transfer *all = xcalloc(n, sizeof(*all));
    int running = 0;

    for (size_t i = 0; i < n; i++) {
        messages[i].status = 0;
        snprintf(messages[i].why, sizeof(messages[i].why), "not tried");
        if (multi && begin(&all[i], &messages[i], now_us))
            curl_multi_add_handle(multi, all[i].easy);
    }
    do {
        if (!multi || curl_multi_perform(multi, &running) != CURLM_OK)
            break;
        take_ended(multi, all, messages);
        if (running)
            curl_multi_poll(multi, NULL, 0, 200, NULL);
    } while (running);
    for (size_t i = 0; i < n; i++) {
        if (all[i].easy)
            curl_multi_remove_handle(multi, all[i].easy);
        curl_easy_cleanup(all[i].easy);
        curl_slist_free_all(all[i].headers);
    }
    curl_multi_cleanup(multi);
    free(all);
}
