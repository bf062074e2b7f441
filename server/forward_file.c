#include "forward_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define CHUNK 65536
#define NEW_NAME ".new"

bool forward_file_write(int fd, const void *bytes, size_t len, off_t at)
{
    const char *from = bytes;

    while (len > 0) {
        ssize_t n = pwrite(fd, from, len, at);

        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return false;
        from += n;
        at += n;
        len -= (size_t)n;
    }
    return true;
}

/* Makes the name of a new folder durable. */
static void sync_above(int fd)
{
    int above = openat(fd, "..", O_RDONLY | O_DIRECTORY | O_CLOEXEC);

    if (above < 0)
        return; /* it may be closed to us; then it isn't ours to keep */
    fsync(above);
    close(above);
}

int forward_file_folder(int dir_fd, const char *path)
{
    bool made = mkdirat(dir_fd, path, 0700) == 0;
    int fd;

    if (!made && errno != EEXIST)
        return -1;
    fd = openat(dir_fd, path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0 && made)
        sync_above(fd);
    return fd;
}

static int new_open(int dir_fd)
{
    return openat(
        dir_fd, NEW_NAME, O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
}

/* What was written so far gets its name, or goes. */
static bool new_name(int dir_fd, const char *name, int fd, bool well)
{
    int why;

    well = well && fsync(fd) == 0;
    why = errno;
    close(fd);
    if (well) {
        well =
            renameat(dir_fd, NEW_NAME, dir_fd, name) == 0 && fsync(dir_fd) == 0;
        why = errno;
    }
    if (!well)
        unlinkat(dir_fd, NEW_NAME, 0);
    errno = why;
    return well;
}

bool forward_file_put(
    int dir_fd, const char *name, const void *bytes, size_t len)
{
    int fd = new_open(dir_fd);

    return fd >= 0 &&
           new_name(dir_fd, name, fd, forward_file_write(fd, bytes, len, 0));
}

static bool copy_rest(int fd, int from_fd)
{
    char chunk[CHUNK];
    off_t at = 0;
    ssize_t n;

    while ((n = read(from_fd, chunk, sizeof(chunk))) != 0) {
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0 || !forward_file_write(fd, chunk, (size_t)n, at))
            return false;
        at += n;
    }
    return true;
}

bool forward_file_copy(int dir_fd, const char *name, int from_fd)
{
    int fd = new_open(dir_fd);

    return fd >= 0 && new_name(dir_fd, name, fd, copy_rest(fd, from_fd));
}

bool forward_file_same(int a_fd, off_t a_at, int b_fd, off_t b_at)
{
    char a[4096], b[4096];
    struct stat a_st, b_st;

    if (fstat(a_fd, &a_st) || fstat(b_fd, &b_st) ||
        a_st.st_size - a_at != b_st.st_size - b_at)
        return false;
    while (a_at < a_st.st_size) {
        ssize_t n = pread(a_fd, a, sizeof(a), a_at);

        if (n <= 0 || pread(b_fd, b, (size_t)n, b_at) != n ||
            memcmp(a, b, (size_t)n) != 0)
            return false;
        a_at += n;
        b_at += n;
    }
    return true;
}
