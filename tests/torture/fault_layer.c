/* Stands between a program and its files, for the programme in this folder: everything that changes a file
 * below TORTURE_DIR is written to TORTURE_LOG, and the call number `at` can be made to fail or to be the last.
 * Linux; loaded with LD_PRELOAD. Nothing of it is in the product.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define FILES 4096
static char *path_of[FILES];
static int log_file = -1;
static const char *folder;
static long counted, fail_at;
static int fail_with, fail_on, recording;
static unsigned long last_site;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

static void *real(const char *name) { return dlsym(RTLD_NEXT, name); }
typedef ssize_t (*write_t)(int, const void *, size_t);

static void start(void) {
    static int started;
    if (started) return;
    started = 1;
    folder = getenv("TORTURE_DIR");
    void *frames[2];
    backtrace(frames, 2); /* loads what it needs now and not in the middle of a call */
}

static int is_ours(const char *path) {
    start();
    return folder && path && !strncmp(path, folder, strlen(folder)) && !strstr(path, "-shm");
}

static void put(const char *kind, const char *path, const char *other, long a, long b, const void *data) {
    if (log_file < 0) return;
    char head[2300];
    int size = snprintf(head, sizeof head, "%s\t%s\t%s\t%ld\t%ld\n", kind, path, other, a, b);
    write_t out = real("write");
    pthread_mutex_lock(&lock);
    if (out(log_file, head, size) != size) _exit(98);
    if (data && b && out(log_file, data, b) != b) _exit(98);
    pthread_mutex_unlock(&lock);
}

/* For the program itself, by ctypes. */
void torture_log(const char *path) {
    typedef int (*open_t)(const char *, int, ...);
    log_file = path && *path ? ((open_t)real("open"))(path, O_WRONLY | O_CREAT | O_APPEND, 0600) : -1;
}
void torture_say(const char *words) { put("A", words, "", 0, 0, 0); }
void torture_folder(const char *path) { start(); folder = strdup(path); }
void torture_arm(long at, int with, int from_then_on) {
    counted = 0; fail_at = at; fail_with = with; fail_on = from_then_on;
}
void torture_record(int on) { recording = on; counted = 0; }
long torture_counted(void) { return counted; }

/* Role of a file, by the end of its name without what is drawn at random. */
static unsigned long role(const char *path) {
    static const char *roles[] = {"-wal", "-journal", ".sqlite", ".pdf", ".seen", ".part-", ".json", ".toml", ".new"};
    for (unsigned n = 0; n < sizeof roles / sizeof *roles; n++)
        if (strstr(path, roles[n])) return n + 1;
    return 99;
}

/* 0, or what the call is to fail with. Never returns where the program is to die here. */
static int refused(const char *call, const char *path) {
    pthread_mutex_lock(&lock);
    counted++;
    if (recording && log_file >= 0) {
        void *frames[24];
        int depth = backtrace(frames, 24);
        unsigned long site = 5381 + role(path);
        for (const char *c = call; *c; c++) site = site * 33 + *c;
        for (int n = 1; n < depth; n++) site = site * 1000003 + (unsigned long)frames[n];
        last_site = site;
        char line[400];
        int size = snprintf(line, sizeof line, "%ld %lx %s %s\n", counted, site, call, strrchr(path, '/'));
        if (((write_t)real("write"))(log_file, line, size) != size) _exit(98);
    }
    int fails = fail_at && (counted == fail_at || (fail_on && counted > fail_at));
    pthread_mutex_unlock(&lock);
    if (!fails) return 0;
    if (fail_with == 0) _exit(137);
    return fail_with;
}

static int opened(const char *call, const char *path, int flags, int mode) {
    typedef int (*open_t)(const char *, int, ...);
    int ours = is_ours(path), is_new = ours && (flags & O_CREAT) && access(path, F_OK);
    if (ours && (flags & O_CREAT)) {
        int error = refused("open", path);
        if (error) { errno = error; return -1; }
    }
    int file = ((open_t)real(call))(path, flags, mode);
    if (file >= 0 && file < FILES) {
        free(path_of[file]);
        path_of[file] = ours ? strdup(path) : NULL;
        if (ours && is_new && !recording) put("O", path, "", 0, 0, 0);
        if (ours && (flags & O_TRUNC) && !is_new && !recording) put("T", path, "", 0, 0, 0);
    }
    return file;
}
#define OPEN(name)                                              \
    int name(const char *path, int flags, ...) {                \
        va_list more; va_start(more, flags);                    \
        int mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, int) : 0; \
        va_end(more);                                           \
        return opened(#name, path, flags, mode);                \
    }
OPEN(open)
OPEN(open64)

static const char *known(int file) { return file >= 0 && file < FILES ? path_of[file] : NULL; }

int close(int file) {
    if (known(file)) { free(path_of[file]); path_of[file] = NULL; }
    return ((int (*)(int))real("close"))(file);
}

#define GUARD(call, path) do { int error = refused(call, path); if (error) { errno = error; return -1; } } while (0)

ssize_t write(int file, const void *data, size_t size) {
    const char *path = known(file);
    if (path) GUARD("write", path);
    long at = path ? lseek(file, 0, SEEK_CUR) : 0;
    ssize_t done = ((write_t)real("write"))(file, data, size);
    if (path && done > 0 && !recording) put("W", path, "", at, done, data);
    return done;
}
#define PWRITE(name, off)                                                        \
    ssize_t name(int file, const void *data, size_t size, off at) {              \
        const char *path = known(file);                                          \
        if (path) GUARD("write", path);                                          \
        ssize_t done = ((ssize_t (*)(int, const void *, size_t, off))real(#name))(file, data, size, at); \
        if (path && done > 0 && !recording) put("W", path, "", at, done, data);  \
        return done;                                                             \
    }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)
#define SYNC(name)                                                               \
    int name(int file) {                                                         \
        const char *path = known(file);                                          \
        if (path) GUARD("sync", path);                                           \
        int done = ((int (*)(int))real(#name))(file);                            \
        if (path && !done && !recording) put("S", path, "", 0, 0, 0);            \
        return done;                                                             \
    }
SYNC(fsync)
SYNC(fdatasync)
#define TRUNCATE(name, off)                                                      \
    int name(int file, off size) {                                               \
        const char *path = known(file);                                          \
        if (path) GUARD("truncate", path);                                       \
        int done = ((int (*)(int, off))real(#name))(file, size);                 \
        if (path && !done && !recording) put("T", path, "", size, 0, 0);         \
        return done;                                                             \
    }
TRUNCATE(ftruncate, off_t)
TRUNCATE(ftruncate64, off64_t)
int unlink(const char *path) {
    if (is_ours(path)) GUARD("unlink", path);
    int done = ((int (*)(const char *))real("unlink"))(path);
    if (!done && is_ours(path) && !recording) put("U", path, "", 0, 0, 0);
    return done;
}
#define TWO(name, kind)                                                          \
    int name(const char *from, const char *to) {                                 \
        if (is_ours(to)) GUARD(#name, to);                                       \
        int done = ((int (*)(const char *, const char *))real(#name))(from, to); \
        if (!done && is_ours(to) && !recording) put(kind, from, to, 0, 0, 0);    \
        return done;                                                             \
    }
TWO(rename, "R")
TWO(link, "L")
