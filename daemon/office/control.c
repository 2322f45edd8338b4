/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Commands of the shell reach the process that owns the office through OFFICE/office.sock: one
 * message with the folder they were given in, the arguments, and the shell's own output; back comes
 * the exit status. What a command prints goes straight to whoever gave it, so a pager that waits
 * holds up nobody else: each command has a thread of its own.
 */
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "commands_internal.h"

#define MESSAGE_MAX 65536
#define COMMANDS_AT_ONCE 16
#define PATIENCE_MS 100

struct running { /* one command */
	struct pw_control *control;
	bool used;
	pthread_t thread;
	int fd, out, err;
};

struct pw_control {
	struct pw_office *o;
	int listener;
	pthread_t thread;
	pthread_mutex_t lock; /* of all below */
	pthread_cond_t news;
	bool stopping;
	struct running running[COMMANDS_AT_ONCE];
};

static bool address_of(const char *dir, struct sockaddr_un *at)
{
	*at = (struct sockaddr_un){ .sun_family = AF_UNIX };
	return snprintf(at->sun_path, sizeof(at->sun_path), "%s/office.sock", dir) <
	       (int)sizeof(at->sun_path);
}

/* -- messages: texts that end with a zero, and two open files ---------------------------------- */

union files {
	char room[CMSG_SPACE(2 * sizeof(int))];
	struct cmsghdr align;
};

static int send_message(int fd, const char *text, size_t length)
{
	const int out[2] = { STDOUT_FILENO, STDERR_FILENO };
	struct iovec part = { (void *)(uintptr_t)text, length };
	union files files = { .room = "" };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1, .msg_control = files.room,
			    .msg_controllen = sizeof(files.room) };
	struct cmsghdr *c = CMSG_FIRSTHDR(&m);

	c->cmsg_level = SOL_SOCKET;
	c->cmsg_type = SCM_RIGHTS;
	c->cmsg_len = CMSG_LEN(sizeof(out));
	memcpy(CMSG_DATA(c), out, sizeof(out));
	return sendmsg(fd, &m, MSG_NOSIGNAL) == (ssize_t)length ? 0 : -1;
}

/* The length, or -1; what came as files is the caller's. */
static ssize_t receive_message(int fd, char *text, int file[2])
{
	struct iovec part = { text, MESSAGE_MAX };
	union files files = { .room = "" };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1, .msg_control = files.room,
			    .msg_controllen = sizeof(files.room) };
	ssize_t n = recvmsg(fd, &m, MSG_CMSG_CLOEXEC);
	struct cmsghdr *c = n > 0 ? CMSG_FIRSTHDR(&m) : NULL;

	if (!c || c->cmsg_level != SOL_SOCKET || c->cmsg_type != SCM_RIGHTS ||
	    c->cmsg_len != CMSG_LEN(2 * sizeof(int)))
		return -1;
	memcpy(file, CMSG_DATA(c), 2 * sizeof(int));
	return n < MESSAGE_MAX && text[n - 1] == '\0' ? n : -1;
}

/* -- the owner's side -------------------------------------------------------------------------- */

/* cwd, then the arguments. */
static int obey(struct running *r, char *text, ssize_t length)
{
	char *argv[PW_ORDER_ARGS + 1], *at = text + strlen(text) + 1;
	FILE *out = fdopen(dup(r->out), "w"), *err = fdopen(dup(r->err), "w");
	int argc = 0, status = PW_EXIT_BAD;

	for (; at < text + length && argc < PW_ORDER_ARGS; at += strlen(at) + 1)
		argv[argc++] = at;
	argv[argc] = NULL;
	if (err && at < text + length)
		fprintf(err, "postwalk-office: expected %d words at most in one command\n", PW_ORDER_ARGS);
	else if (out && err && argc > 0)
		status = pw_command(r->control->o, argc, argv, text, out, err);
	if (out && fclose(out) && status == PW_EXIT_OK)
		status = PW_EXIT_NOT;
	if (err)
		fclose(err);
	return status;
}

static void *run_command(void *ctx)
{
	struct running *r = ctx;
	struct pw_control *control = r->control;
	char *text = malloc(MESSAGE_MAX);
	const struct timeval patience = { .tv_sec = 5 };
	int file[2] = { -1, -1 }, status;
	ssize_t n;

	setsockopt(r->fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof(patience));
	n = text ? receive_message(r->fd, text, file) : -1;
	pthread_mutex_lock(&control->lock);
	r->out = file[0];
	r->err = file[1];
	pthread_mutex_unlock(&control->lock);
	if (n > 0) {
		status = obey(r, text, n);
		send(r->fd, &status, sizeof(status), MSG_NOSIGNAL);
	}
	free(text);
	pthread_mutex_lock(&control->lock);
	for (int i = 0; i < 2; i++)
		if (file[i] >= 0)
			close(file[i]);
	close(r->fd);
	r->used = false;
	pthread_cond_broadcast(&control->news);
	pthread_mutex_unlock(&control->lock);
	return NULL;
}

/* Waits for a place. NULL: all is over. */
static struct running *take_place(struct pw_control *control)
{
	struct running *place = NULL;

	pthread_mutex_lock(&control->lock);
	while (!control->stopping && !place) {
		for (int i = 0; i < COMMANDS_AT_ONCE && !place; i++)
			if (!control->running[i].used)
				place = &control->running[i];
		if (!place)
			pthread_cond_wait(&control->news, &control->lock);
	}
	if (control->stopping)
		place = NULL;
	if (place)
		*place = (struct running){
			.control = control, .used = true, .fd = -1, .out = -1, .err = -1
		};
	pthread_mutex_unlock(&control->lock);
	return place;
}

static void give_back(struct pw_control *control, struct running *place)
{
	pthread_mutex_lock(&control->lock);
	place->used = false;
	pthread_cond_broadcast(&control->news);
	pthread_mutex_unlock(&control->lock);
}

static void *take_commands(void *ctx)
{
	struct pw_control *control = ctx;
	struct running *place;
	pthread_attr_t detached;

	pthread_attr_init(&detached);
	pthread_attr_setdetachstate(&detached, PTHREAD_CREATE_DETACHED);
	while ((place = take_place(control))) {
		place->fd = accept4(control->listener, NULL, NULL, SOCK_CLOEXEC);
		if (place->fd >= 0 &&
		    pthread_create(&place->thread, &detached, run_command, place) == 0)
			continue;
		if (place->fd >= 0)
			close(place->fd);
		give_back(control, place);
	}
	pthread_attr_destroy(&detached);
	return NULL;
}

static int listen_at(const char *dir, char *why, size_t size)
{
	struct sockaddr_un at;
	int fd = -1;

	if (address_of(dir, &at)) {
		unlink(at.sun_path); /* of an owner before: the lock is ours */
		fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
	} else {
		errno = ENAMETOOLONG;
	}
	if (fd >= 0 && fchmod(fd, 0600) == 0 && bind(fd, (struct sockaddr *)&at, sizeof(at)) == 0 &&
	    chmod(at.sun_path, 0600) == 0 && listen(fd, COMMANDS_AT_ONCE) == 0)
		return fd;
	snprintf(why, size, "%s/office.sock: %s", dir, strerror(errno));
	if (fd >= 0)
		close(fd);
	return -1;
}

static void wake(int signal)
{
	(void)signal;
}

int pw_control_start(struct pw_office *o, struct pw_control **control, char *why, size_t size)
{
	const struct sigaction interrupts = { .sa_handler = wake };
	struct pw_control *c = calloc(1, sizeof(*c));
	int error = c ? 0 : ENOMEM;

	if (c) {
		c->o = o;
		pthread_mutex_init(&c->lock, NULL);
		pthread_cond_init(&c->news, NULL);
		c->listener = listen_at(o->dir, why, size);
		if (c->listener < 0) {
			free(c);
			return -1;
		}
		sigaction(SIGUSR1, &interrupts, NULL); /* a write that waits comes back */
		error = pthread_create(&c->thread, NULL, take_commands, c);
	}
	if (error == 0) {
		*control = c;
		return 0;
	}
	snprintf(why, size, "commands cannot be taken: %s", strerror(error));
	if (c)
		close(c->listener);
	free(c);
	return -1;
}

/* Commands that still print do so to nowhere; one that waits for its reader is woken up. 1: some
 * are there. */
static bool hurry(struct pw_control *c, int nowhere)
{
	bool some = false;

	for (int i = 0; i < COMMANDS_AT_ONCE; i++) {
		struct running *r = &c->running[i];

		if (!r->used || r->fd < 0)
			continue;
		some = true;
		shutdown(r->fd, SHUT_RD);
		if (r->out >= 0 && nowhere >= 0) {
			dup2(nowhere, r->out);
			dup2(nowhere, r->err);
		}
		pthread_kill(r->thread, SIGUSR1);
	}
	return some;
}

void pw_control_stop(struct pw_control *c)
{
	const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
	struct sockaddr_un at;
	struct timespec until;

	pthread_mutex_lock(&c->lock);
	c->stopping = true;
	pthread_cond_broadcast(&c->news);
	pthread_mutex_unlock(&c->lock);
	shutdown(c->listener, SHUT_RDWR); /* accept comes back */
	pthread_join(c->thread, NULL);
	pthread_mutex_lock(&c->lock);
	while (hurry(c, nowhere)) {
		clock_gettime(CLOCK_REALTIME, &until);
		until.tv_nsec += PATIENCE_MS * 1000000;
		if (until.tv_nsec >= 1000000000) {
			until.tv_nsec -= 1000000000;
			until.tv_sec++;
		}
		pthread_cond_timedwait(&c->news, &c->lock, &until);
	}
	pthread_mutex_unlock(&c->lock);
	if (address_of(c->o->dir, &at))
		unlink(at.sun_path);
	close(c->listener);
	if (nowhere >= 0)
		close(nowhere);
	pthread_mutex_destroy(&c->lock);
	pthread_cond_destroy(&c->news);
	free(c);
}

/* -- the shell's side -------------------------------------------------------------------------- */

static bool add(char *text, size_t *length, const char *word)
{
	const size_t n = strlen(word) + 1;

	if (*length + n >= MESSAGE_MAX)
		return false;
	memcpy(text + *length, word, n);
	*length += n;
	return true;
}

static int ask(int fd, int argc, char **argv)
{
	static const char long_words[] = "postwalk-office: expected a shorter command\n";
	char *text = malloc(MESSAGE_MAX), *cwd = getcwd(NULL, 0);
	size_t length = 0;
	int status;
	bool fits = text && add(text, &length, cwd ? cwd : "/");

	for (int i = 0; i < argc && fits; i++)
		fits = add(text, &length, argv[i]);
	if (!fits) {
		fputs(long_words, stderr);
		status = PW_EXIT_BAD;
	} else if (send_message(fd, text, length) ||
		   recv(fd, &status, sizeof(status), 0) != sizeof(status)) {
		fputs("postwalk-office: the office ended meanwhile\n", stderr);
		status = PW_EXIT_NOT;
	}
	free(text);
	free(cwd);
	return status;
}

int pw_control_ask(const char *dir, int argc, char **argv)
{
	struct sockaddr_un at;
	int fd, status = -1;

	if (!address_of(dir, &at))
		return -1;
	fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
	if (fd >= 0 && connect(fd, (struct sockaddr *)&at, sizeof(at)) == 0)
		status = ask(fd, argc, argv);
	if (fd >= 0)
		close(fd);
	return status;
}
