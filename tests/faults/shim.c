/* A layer between a program and libc that counts each call that changes files under one folder, and fails one of them.
 *
 * Loaded by LD_PRELOAD, asleep until `faults_arm`. SQLite's own library calls libc too, so its database, WAL and journal
 * are counted; its shared memory is mapped, and only the calls that make and size it are seen.
 * With a log every call is written down with its data, from which `tests.faults.powercut` makes the folders that a loss
 * of power could leave. The log goes out by bare system calls: it must not count itself. One thread at a time.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

/* The kinds, in the order of `tests.faults.layer.Kind`. */
enum { NONE, KILL_BEFORE, KILL_AFTER, KILL_TORN, ENOSPC_ONCE, EIO_ONCE, SHORT, SHORT_ENOSPC, DISK_FULL, DISK_EIO };

static char root[4096];
static size_t root_length;
static int awake, kind, log_fd = -1, told_fd = -1;
static long count, target;
static int full_next; /* a short write was given: the next write of the same file says that there is no space */

void faults_arm(const char *folder, int log, int told, long at, int what) {
    snprintf(root, sizeof root, "%s", folder);
    root_length = strlen(root);
    log_fd = log, told_fd = told, target = at, kind = what, count = 0, full_next = 0, awake = 1;
}
void faults_lift(void) { if (count >= target) kind = NONE; }
void faults_sleep(void) { awake = 0; }
long faults_count(void) { return count; }
int faults_pending(void) { return kind != NONE && full_next; } /* the second half of a fault is still to come */

static void put(int fd, const void *data, size_t size) {
    while (size) {
        long done = syscall(SYS_write, fd, data, size);
        if (done <= 0) return;
        data = (const char *)data + done, size -= (size_t)done;
    }
}

/* One record of the log: a line of text, then `size` bytes. */
static void note(const char *op, uint64_t inode, long offset, const char *path, const char *other,
                 const void *data, size_t size) {
    char line[9000];
    if (log_fd < 0) return;
    int length = snprintf(line, sizeof line, "%s\t%llu\t%ld\t%zu\t%s\t%s\n", op, (unsigned long long)inode, offset,
                          size, path, other);
    put(log_fd, line, (size_t)length);
    if (size) put(log_fd, data, size);
}
void faults_mark(const char *text) { if (awake) note("mark", 0, 0, "", "", text, strlen(text)); }

static int inside(const char *path) {
    return !strncmp(path, root, root_length) && (path[root_length] == '/' || path[root_length] == 0);
}
static int of_fd(int fd, char *path) { /* the path of an open file, where it lies in the folder */
    char name[64];
    if (!awake || fd < 0) return 0;
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    long length = syscall(SYS_readlinkat, AT_FDCWD, name, path, 4095);
    if (length <= 0) return 0;
    path[length] = 0;
    return inside(path);
}
static int of_path(int dir, const char *given, char *path) { /* our tests and the product name files in full */
    if (!awake || !given) return 0;
    if (given[0] == '/') snprintf(path, 4096, "%s", given);
    else if (dir == AT_FDCWD || !of_fd(dir, path)) return 0;
    else snprintf(path + strlen(path), 4096 - strlen(path), "/%s", given);
    return inside(path);
}
static uint64_t inode_of(int fd) { struct stat s; return fstat(fd, &s) ? 0 : (uint64_t)s.st_ino; }
static uint64_t inode_at(const char *path) { struct stat s; return lstat(path, &s) ? 0 : (uint64_t)s.st_ino; }

/* Count a call, and say which errno it shall fail with; 0: let it through, -1: write half of it. */
static int fault(const char *op, const char *path, int writes) {
    count++;
    note("call", 0, 0, path, op, 0, 0);
    if (kind == NONE || count < target) return 0;
    if (count == target) {
        char line[4200];
        int length = snprintf(line, sizeof line, "%s\t%s\n", op, path + root_length);
        put(told_fd, line, (size_t)length);
    } else if (full_next && writes) {
        full_next = 0, kind = NONE;
        return ENOSPC;
    } else if (kind != DISK_FULL && kind != DISK_EIO) return 0;
    switch (kind) {
    case KILL_BEFORE: syscall(SYS_kill, getpid(), SIGKILL); break;
    case ENOSPC_ONCE: return ENOSPC;
    case EIO_ONCE: return EIO;
    case KILL_TORN: case SHORT: return writes ? -1 : 0;
    case SHORT_ENOSPC: full_next = writes; return writes ? -1 : 0;
    /* A full disk still syncs, renames and removes; what it refuses is everything that needs room. */
    case DISK_FULL: return writes || !strcmp(op, "create") || !strcmp(op, "mkdir") || !strcmp(op, "resize") ? ENOSPC : 0;
    case DISK_EIO: return EIO;
    }
    return 0;
}
static void done(void) { /* after the call */
    if (count == target && (kind == KILL_AFTER || kind == KILL_TORN)) syscall(SYS_kill, getpid(), SIGKILL);
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define REFUSED(op, path, writes) int refused = fault(op, path, writes); if (refused > 0) { errno = refused; return -1; }

static long written(int fd, const void *data, size_t size, long offset, int placed) {
    char path[4096];
    long result;
    if (!of_fd(fd, path)) return placed ? REAL(pwrite64)(fd, data, size, offset) : REAL(write)(fd, data, size);
    REFUSED("write", path, 1)
    if (refused < 0) size = size / 2; /* never nothing: no write here has less than two bytes but SQLite's of one */
    if (!size) size = 1;
    if (!placed) offset = fcntl(fd, F_GETFL) & O_APPEND ? lseek(fd, 0, SEEK_END) : lseek(fd, 0, SEEK_CUR);
    result = placed ? REAL(pwrite64)(fd, data, size, offset) : REAL(write)(fd, data, size);
    if (result > 0) note("write", inode_of(fd), offset, path, "", data, (size_t)result);
    done();
    return result;
}
ssize_t write(int fd, const void *data, size_t size) { return written(fd, data, size, 0, 0); }
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return written(fd, data, size, at, 1); }
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) { return written(fd, data, size, at, 1); }
ssize_t writev(int fd, const struct iovec *parts, int n) {
    char path[4096];
    long sum = 0;
    if (!of_fd(fd, path)) return REAL(writev)(fd, parts, n);
    for (int i = 0; i < n; i++) { /* each part as a write of its own: no more whole than the system promises */
        long one = written(fd, parts[i].iov_base, parts[i].iov_len, 0, 0);
        if (one < 0) return sum ? sum : -1;
        sum += one;
        if ((size_t)one < parts[i].iov_len) break;
    }
    return sum;
}

static int synced(int fd, int (*real)(int)) {
    char path[4096];
    if (!of_fd(fd, path)) return real(fd);
    REFUSED("sync", path, 0)
    int result = real(fd);
    if (!result) note("sync", inode_of(fd), 0, path, "", 0, 0);
    done();
    return result;
}
int fsync(int fd) { return synced(fd, REAL(fsync)); }
int fdatasync(int fd) { return synced(fd, REAL(fdatasync)); }

static int resized(int fd, long size) {
    char path[4096];
    int counted = of_fd(fd, path);
    if (counted) { REFUSED("resize", path, 0) }
    int result = REAL(ftruncate64)(fd, size);
    if (counted) {
        if (!result) note("resize", inode_of(fd), size, path, "", 0, 0);
        done();
    }
    return result;
}
int ftruncate(int fd, off_t size) { return resized(fd, size); }
int ftruncate64(int fd, off64_t size) { return resized(fd, size); }

static int opened(int dir, const char *given, int flags, mode_t mode) {
    char path[4096];
    int made = (flags & O_CREAT) && of_path(dir, given, path) && !inode_at(path);
    int cut = !made && (flags & O_TRUNC) && of_path(dir, given, path);
    if (made) { REFUSED("create", path, 0) }
    if (cut) { REFUSED("resize", path, 0) }
    int fd = REAL(openat64)(dir, given, flags, mode);
    if (fd >= 0 && made) note("create", inode_of(fd), 0, path, "", 0, 0);
    if (fd >= 0 && cut) note("resize", inode_of(fd), 0, path, "", 0, 0);
    if (made || cut) done();
    return fd;
}
#define MODE mode_t mode = 0; if (flags & (O_CREAT | O_TMPFILE)) { va_list l; va_start(l, flags); mode = va_arg(l, mode_t); va_end(l); }
int open(const char *path, int flags, ...) { MODE return opened(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return opened(AT_FDCWD, path, flags, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE return opened(dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE return opened(dir, path, flags, mode); }

static int named(const char *op, int dir, const char *given, int other_dir, const char *to, int (*call)(void *), void *of) {
    char path[4096], target_path[4096] = "";
    if (!of_path(dir, given, path)) return call(of);
    if (to) of_path(other_dir, to, target_path);
    REFUSED(op, path, 0)
    uint64_t inode = inode_at(path);
    int result = call(of);
    if (!result) note(op, strcmp(op, "mkdir") ? inode : inode_at(path), 0, path, target_path, 0, 0);
    done();
    return result;
}
struct names { int dir, to_dir; const char *path, *to; unsigned flags; };
#define CALL(name, expression) static int call_##name(void *of) { struct names *n = of; (void)n; return expression; }
CALL(rename, REAL(renameat)(n->dir, n->path, n->to_dir, n->to))
CALL(unlink, REAL(unlinkat)(n->dir, n->path, (int)n->flags))
CALL(mkdir, REAL(mkdirat)(n->dir, n->path, n->flags))
CALL(link, REAL(linkat)(n->dir, n->path, n->to_dir, n->to, (int)n->flags))
CALL(chmod, REAL(fchmodat)(n->dir, n->path, n->flags, 0))
static int go(const char *op, int (*call)(void *), struct names n) {
    return named(op, n.dir, n.path, n.to_dir, n.to, call, &n);
}
int rename(const char *a, const char *b) { return go("rename", call_rename, (struct names){AT_FDCWD, AT_FDCWD, a, b, 0}); }
int renameat(int d, const char *a, int e, const char *b) { return go("rename", call_rename, (struct names){d, e, a, b, 0}); }
int unlink(const char *a) { return go("unlink", call_unlink, (struct names){AT_FDCWD, 0, a, 0, 0}); }
int unlinkat(int d, const char *a, int flags) { return go("unlink", call_unlink, (struct names){d, 0, a, 0, (unsigned)flags}); }
int rmdir(const char *a) { return go("unlink", call_unlink, (struct names){AT_FDCWD, 0, a, 0, AT_REMOVEDIR}); }
int mkdir(const char *a, mode_t mode) { return go("mkdir", call_mkdir, (struct names){AT_FDCWD, 0, a, 0, mode}); }
int mkdirat(int d, const char *a, mode_t mode) { return go("mkdir", call_mkdir, (struct names){d, 0, a, 0, mode}); }
int link(const char *a, const char *b) { return go("link", call_link, (struct names){AT_FDCWD, AT_FDCWD, a, b, 0}); }
int linkat(int d, const char *a, int e, const char *b, int flags) { return go("link", call_link, (struct names){d, e, a, b, (unsigned)flags}); }
int chmod(const char *a, mode_t mode) { return go("chmod", call_chmod, (struct names){AT_FDCWD, 0, a, 0, mode}); }
int fchmodat(int d, const char *a, mode_t mode, int flags) { (void)flags; return go("chmod", call_chmod, (struct names){d, 0, a, 0, mode}); }
int fchmod(int fd, mode_t mode) {
    char path[4096];
    int counted = of_fd(fd, path);
    if (counted) { REFUSED("chmod", path, 0) }
    int result = REAL(fchmod)(fd, mode);
    if (counted) done();
    return result;
}
