/* The serial port as the host sees it: a pseudo-terminal behind a symbolic link that keeps its name.
 *
 * Promise: the link is there while the cable is in and gone while it is out. A new plug is a new terminal behind the same
 * link, as with a real converter cable. Output is thrown away while nobody has the port open, and when the host does
 * not read it; nothing here ever waits.
 */
#define _GNU_SOURCE
#include "port.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "events.h"
#include "serial.h"

#define MAX_PATH 512
#define OUT_ROOM 8192

static char link_path[MAX_PATH];
static int master = -1;
static bool open_now;
static uint8_t out[OUT_ROOM];
static size_t out_length;

static bool refuse(const char *what) {
    fprintf(stderr, "simulator: %s %s: %s\n", what, link_path, strerror(errno));
    return false;
}

/* Replace the link in one step; never anything that is not a link. */
static bool make_link(const char *target) {
    struct stat found;
    char beside[MAX_PATH + 8];
    if (lstat(link_path, &found) == 0 && !S_ISLNK(found.st_mode)) {
        errno = EEXIST;
        return refuse("will not replace, because it is no symbolic link,");
    }
    snprintf(beside, sizeof beside, "%s.new", link_path);
    unlink(beside);
    if (symlink(target, beside) != 0 || rename(beside, link_path) != 0) {
        return refuse("cannot make the link");
    }
    return true;
}

bool port_plug(const char *path) {
    if (path) {
        snprintf(link_path, sizeof link_path, "%s", path);
    }
    if (master >= 0 || link_path[0] == '\0') {
        return true;
    }
    master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0) {
        return refuse("cannot make a pseudo-terminal for");
    }
    /* A fresh terminal echoes, and reads as open until it was opened and closed once. */
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY | O_CLOEXEC);
    struct termios raw;
    if (slave < 0 || tcgetattr(slave, &raw) != 0) {
        return refuse("cannot open the pseudo-terminal of");
    }
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    open_now = false;
    return make_link(ptsname(master));
}

void port_unplug(void) {
    if (master < 0) {
        return;
    }
    unlink(link_path);
    close(master);
    master = -1;
    out_length = 0;
    serial_forget();
    if (open_now) {
        open_now = false;
        event("port closed");
    }
}

void port_put(uint8_t byte) {
    if (open_now && out_length < OUT_ROOM) {
        out[out_length++] = byte;
    }
}

static void send(void) {
    size_t sent = 0;
    while (sent < out_length) {
        ssize_t n = write(master, out + sent, out_length - sent);
        if (n <= 0) {
            break; /* the host does not read: what is left is lost */
        }
        sent += (size_t)n;
    }
    out_length = 0;
}

static void receive(void) {
    uint8_t bytes[1024];
    size_t room = serial_room();
    ssize_t n = read(master, bytes, room < sizeof bytes ? room : sizeof bytes);
    if (n > 0) {
        serial_from_host(bytes, (size_t)n);
    }
}

bool port_poll(void) {
    if (master < 0) {
        return false;
    }
    struct pollfd watched = {.fd = master, .events = POLLIN};
    poll(&watched, 1, 0);
    bool was_open = open_now;
    open_now = !(watched.revents & POLLHUP);
    if (open_now != was_open) {
        event("port %s", open_now ? "open" : "closed");
    }
    if (!open_now) {
        out_length = 0;
    }
    send();
    if (watched.revents & POLLIN) {
        receive();
    }
    return open_now && !was_open;
}
