/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The writer process: the only one that opens the journal. It takes batches off a socket, commits
 * each in one transaction, and says so. After an error it gives the connection up, opens the
 * journal anew, and tells which batch it finds committed there; the watch hands over again what
 * came after (J7). Between batches it keeps the alive stamp (J12).
 *
 * It sleeps in poll without a timeout whenever the bus is parked and the disk is well.
 */
#include "writer_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define LOCK_RETRY_MS 20
#define LOCK_PATIENCE 50 /* tries, before a writer that has not ended yet is told of */

struct child {
	int sock, lock, stamp;
	unsigned lock_tries;
	const struct pw_order *order;
	struct pw_journal *journal;
	bool in_batch;
	uint64_t failed; /* the last batch that did: it comes again unless it is found committed */
	char damage[PW_WORDS_MAX]; /* not empty: what stands there is put aside at the next try */
	uint64_t boot;
	char boot_id[PW_BOOT_ID_MAX];
	int64_t stamp_at_ms, retry_at_ms;
	struct pw_trouble trouble, told;
	struct pw_message in, out;
	struct pw_kept_row row;
	char body[PW_BODY_MAX + 1];
};

static int64_t clock_ms(clockid_t id)
{
	struct timespec t;

	clock_gettime(id, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- telling the watch ------------------------------------------------------------------------- */

static void tell(struct child *c, enum pw_message_kind kind, uint64_t batch, size_t size)
{
	c->out.head = (struct pw_message_head){
		.version = PW_MESSAGE_VERSION, .kind = (uint16_t)kind, .size = (uint32_t)size,
		.batch = batch,
	};
	/* a watch that is gone shows when the next message is read */
	while (send(c->sock, &c->out, offsetof(struct pw_message, of) + size, MSG_NOSIGNAL) < 0
	       && errno == EINTR)
		;
}

static const char stamp_refused[] = "the alive stamp is not reaching the disk";

static bool is_of_stamp(const struct pw_trouble *trouble)
{
	return strncmp(trouble->now, stamp_refused, sizeof(stamp_refused) - 1) == 0;
}

static void tell_trouble(struct child *c)
{
	if (memcmp(&c->trouble, &c->told, sizeof(c->told)) == 0)
		return;
	c->told = c->trouble;
	c->out.of.trouble = c->trouble;
	tell(c, PW_M_TROUBLE, 0, sizeof(c->out.of.trouble));
}

__attribute__((format(printf, 2, 3)))
static void say(char words[PW_WORDS_MAX], const char *format, ...)
{
	va_list args;

	memset(words, 0, PW_WORDS_MAX);
	va_start(args, format);
	vsnprintf(words, PW_WORDS_MAX, format, args);
	va_end(args);
}

/* -- the journal opened, and given up ---------------------------------------------------------- */

/* An earlier writer may still be in the middle of its last commit: never two at once (J1). */
static int take_lock(struct child *c, char *why, size_t size)
{
	char path[4096];

	snprintf(path, sizeof(path), "%s/journal.lock", c->order->dir);
	if (c->lock < 0)
		c->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
	if (c->lock >= 0 && flock(c->lock, LOCK_EX | LOCK_NB) == 0)
		return 0;
	if (c->lock >= 0 && errno == EWOULDBLOCK) {
		c->lock_tries++;
		snprintf(why, size, "%.180s: held by another writer", path);
	} else {
		snprintf(why, size, "%.180s: %s", path, strerror(errno));
	}
	return -1;
}

static int put_aside(struct child *c, const char *what, char *why, size_t size)
{
	unsigned n;

	if (pw_journal_aside(c->order->dir, &n) < 0) {
		snprintf(why, size, "%s, and cannot be renamed: %s", what, strerror(errno));
		return -1;
	}
	say(c->trouble.start,
	    "a new journal was begun: %.150s; the old one is journal.db.damaged-%u", what, n);
	return 0;
}

static int open_journal(struct child *c, char *why, size_t size)
{
	char path[4096], what[PW_WORDS_MAX];
	int result;

	snprintf(path, sizeof(path), "%s/journal.db", c->order->dir);
	if (c->damage[0] != '\0' && put_aside(c, c->damage, why, size) < 0)
		return -1;
	c->damage[0] = '\0';
	result = pw_journal_open(path, c->order->bus, true, &c->journal, why, size);
	if (result != -2)
		return result;
	snprintf(what, sizeof(what), "%s", why);
	if (put_aside(c, what, why, size) < 0)
		return -1;
	return pw_journal_open(path, c->order->bus, true, &c->journal, why, size);
}

static void give_up(struct child *c, int result, const char *why)
{
	pw_journal_close(c->journal);
	c->journal = NULL;
	c->in_batch = false;
	say(c->damage, "%s", result == -2 ? why : "");
	c->retry_at_ms = clock_ms(CLOCK_BOOTTIME) + c->order->pace.retry_ms;
	say(c->trouble.now, "records are not reaching the disk: %s", why);
	tell_trouble(c);
}

static void stamp_from(struct child *c, const struct pw_state *s, int64_t at_ms)
{
	if (s->phase == PW_PARKED)
		c->stamp_at_ms = PW_NEVER;
	else if (c->stamp_at_ms == PW_NEVER)
		c->stamp_at_ms = at_ms;
}

static void ready(struct child *c)
{
	const struct pw_kept_state *kept = &c->out.of.ready.kept;

	c->boot = kept->boot;
	c->retry_at_ms = PW_NEVER;
	if (kept->found && c->row.boot == c->boot) /* a writer that took over */
		stamp_from(c, &kept->state, clock_ms(CLOCK_BOOTTIME));
	if (c->row.batch >= c->failed)
		memset(c->trouble.now, 0, sizeof(c->trouble.now));
	c->out.of.ready.seq = pw_journal_head(c->journal, NULL);
	tell(c, PW_M_READY, c->row.batch, sizeof(c->out.of.ready));
	tell_trouble(c);
}

static void try_to_open(struct child *c)
{
	char why[PW_WORDS_MAX];
	int result;

	if (take_lock(c, why, sizeof(why)) < 0) {
		if (c->lock_tries == 0 || c->lock_tries > LOCK_PATIENCE)
			give_up(c, -1, why);
		else
			c->retry_at_ms = clock_ms(CLOCK_BOOTTIME) + LOCK_RETRY_MS;
		return;
	}
	c->lock_tries = 0;
	result = open_journal(c, why, sizeof(why));
	if (result == 0)
		result = pw_start_find(c->journal, c->order->dir, c->boot, &c->out.of.ready.kept,
				       &c->row, why, sizeof(why));
	if (result < 0) {
		give_up(c, result, why);
		return;
	}
	if (why[0] != '\0')
		say(c->trouble.start, "%s", why);
	ready(c);
}

/* -- batches ----------------------------------------------------------------------------------- */

static int begin(struct child *c, char *why, size_t size)
{
	return pw_journal_begin(c->journal, why, size);
}

static int note(struct child *c, char *why, size_t size)
{
	const struct pw_note *n = &c->in.of.note;
	struct pw_record r = {
		.boot = c->boot, .mono_ms = n->mono_ms, .wall_ms = n->wall_ms,
		.wall_ok = n->wall_ok != 0, .kind = n->kind, .body = c->body,
	};

	if (pw_text_body(n, c->body, sizeof(c->body)) < 0) {
		/* too long as JSON: that it was there is told in its place */
		snprintf(c->body, sizeof(c->body), "{\"count\":1}");
		r.kind = PW_K_LOST;
	}
	return pw_journal_add(c->journal, &r, why, size);
}

static void committed(struct child *c, const struct pw_state *state)
{
	c->in_batch = false;
	if (!is_of_stamp(&c->trouble))
		memset(c->trouble.now, 0, sizeof(c->trouble.now));
	stamp_from(c, state, clock_ms(CLOCK_BOOTTIME) + c->order->pace.stamp_ms);
	c->out.of.done.seq = pw_journal_head(c->journal, NULL);
	tell(c, PW_M_DONE, c->row.batch, sizeof(c->out.of.done));
	tell_trouble(c);
}

static int keep(struct child *c, char *why, size_t size)
{
	const struct pw_keep *k = &c->in.of.keep;
	int result;

	if (pw_text_kept(&k->state, c->row.state, sizeof(c->row.state)) < 0) {
		snprintf(why, size, "the state does not fit the journal");
		return -1;
	}
	c->row.mono_ms = k->mono_ms;
	c->row.wall_ms = k->wall_ms;
	c->row.boot = c->boot;
	c->row.batch = c->in.head.batch;
	memcpy(c->row.boot_id, c->boot_id, sizeof(c->boot_id));
	if ((result = pw_journal_keep(c->journal, &c->row, why, size)) < 0
	    || (result = pw_journal_commit(c->journal, why, size)) < 0)
		return result;
	committed(c, &k->state);
	return 0;
}

static int broken_off(struct child *c, char *why, size_t size)
{
	snprintf(why, size, "batch %llu was broken off", (unsigned long long)c->in.head.batch);
	return -1;
}

/* Is it whole, and of a length that its kind can have? */
static bool is_sound(const struct pw_message *m, size_t length)
{
	const size_t size = length - offsetof(struct pw_message, of);

	if (length < offsetof(struct pw_message, of) || m->head.version != PW_MESSAGE_VERSION
	    || m->head.size != size)
		return false;
	switch (m->head.kind) {
	case PW_M_BEGIN:
		return size == 0;
	case PW_M_NOTE:
		return size >= offsetof(struct pw_note, of) && m->of.note.size == size
		       && pw_note_size(&m->of.note) == size;
	case PW_M_KEEP:
		return size >= offsetof(struct pw_keep, state.sweep.refusal)
		       && pw_keep_size(&m->of.keep.state) == size;
	default:
		return false;
	}
}

static void handle(struct child *c)
{
	static int (*const handlers[])(struct child *, char *, size_t) = {
		[PW_M_BEGIN] = begin, [PW_M_NOTE] = note, [PW_M_KEEP] = keep,
	};
	char why[PW_WORDS_MAX];
	int result;

	/* after trouble: the rest of a batch that will come again */
	if (c->journal == NULL || (!c->in_batch && c->in.head.kind != PW_M_BEGIN))
		return;
	if (c->in.head.kind == PW_M_BEGIN && c->in_batch)
		result = broken_off(c, why, sizeof(why));
	else
		result = handlers[c->in.head.kind](c, why, sizeof(why));
	if (result < 0) {
		c->failed = c->in.head.batch;
		give_up(c, result, why);
	} else if (c->in.head.kind == PW_M_BEGIN) {
		c->in_batch = true;
	}
}

/* False when the watch has ended. */
static bool receive(struct child *c)
{
	ssize_t n = recv(c->sock, &c->in, sizeof(c->in), 0);

	if (n < 0)
		return errno == EINTR || errno == EAGAIN;
	if (n == 0 || !is_sound(&c->in, (size_t)n))
		return false;
	handle(c);
	return true;
}

/* -- the alive stamp --------------------------------------------------------------------------- */

/* It vouches that the kept state is how things stood then: so it stands still while records wait. */
static void stamp(struct child *c, int64_t now_ms)
{
	struct pw_stamp s = {
		.boot = c->boot, .mono_ms = now_ms, .wall_ms = clock_ms(CLOCK_REALTIME),
	};
	int result = -1;

	memcpy(s.boot_id, c->boot_id, sizeof(s.boot_id));
	c->stamp_at_ms = now_ms + c->order->pace.stamp_ms;
	if (c->journal == NULL || c->in_batch)
		return;
	if (c->stamp < 0)
		c->stamp = pw_stamp_open(c->order->dir, true);
	if (c->stamp >= 0)
		result = pw_stamp_write(c->stamp, &s);
	if (result < 0) {
		int error = errno;

		if (c->stamp >= 0)
			close(c->stamp);
		c->stamp = -1;
		say(c->trouble.now, "%s: %s/alive: %s", stamp_refused, c->order->dir, strerror(error));
	} else if (is_of_stamp(&c->trouble)) {
		memset(c->trouble.now, 0, sizeof(c->trouble.now));
	}
	tell_trouble(c);
}

/* -- the process ------------------------------------------------------------------------------- */

static void read_boot_id(char id[PW_BOOT_ID_MAX])
{
	int fd = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
	ssize_t n = fd >= 0 ? read(fd, id, PW_BOOT_ID_MAX - 1) : -1;

	id[n > 0 ? n : 0] = '\0';
	id[strcspn(id, "\n")] = '\0';
	if (fd >= 0)
		close(fd);
}

/* Nothing of the watch is left but the socket. What the watch is told by signals is not for the
 * writer: it ends when the watch has ended and all that was handed over is written. SIGCONT at the
 * watch's death wakes it for that even where somebody had stopped it. */
static int settle_in(int sock)
{
	static const int ignored[] = { SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE, SIGXFSZ,
				       SIGUSR1, SIGUSR2 };
	struct sigaction action = { .sa_handler = SIG_DFL };
	sigset_t none;
	int null;

	for (int s = 1; s < NSIG; s++)
		sigaction(s, &action, NULL);
	action.sa_handler = SIG_IGN;
	for (size_t i = 0; i < sizeof(ignored) / sizeof(ignored[0]); i++)
		sigaction(ignored[i], &action, NULL);
	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
	prctl(PR_SET_NAME, "postwalk-writer");
	prctl(PR_SET_PDEATHSIG, SIGCONT);
	umask(027);
	sock = fcntl(sock, F_DUPFD_CLOEXEC, 3);
	if (sock != 3) {
		dup2(sock, 3);
		sock = 3;
	}
	close_range(4, ~0U, 0);
	null = open("/dev/null", O_RDWR | O_CLOEXEC);
	dup2(null, STDIN_FILENO);
	dup2(null, STDOUT_FILENO);
	return sock;
}

static int until(int64_t at_ms, int64_t now_ms)
{
	if (at_ms == PW_NEVER)
		return -1;
	if (at_ms <= now_ms)
		return 0;
	return at_ms - now_ms > 60000 ? 60000 : (int)(at_ms - now_ms);
}

static bool turn(struct child *c)
{
	struct pollfd wait = { .fd = c->sock, .events = POLLIN };
	int64_t now_ms = clock_ms(CLOCK_BOOTTIME);
	int64_t next_ms = c->stamp_at_ms < c->retry_at_ms ? c->stamp_at_ms : c->retry_at_ms;
	int n = poll(&wait, 1, until(next_ms, now_ms));

	now_ms = clock_ms(CLOCK_BOOTTIME);
	if (c->retry_at_ms <= now_ms)
		try_to_open(c);
	if (c->stamp_at_ms <= now_ms)
		stamp(c, now_ms);
	return n <= 0 || receive(c);
}

_Noreturn void pw_writer_child(int sock, const struct pw_order *order)
{
	struct child c = {
		.lock = -1, .stamp = -1, .order = order, .boot = order->boot,
		.stamp_at_ms = PW_NEVER, .retry_at_ms = INT64_MIN,
	};

	c.sock = settle_in(sock);
	memcpy(c.trouble.start, order->start, sizeof(c.trouble.start));
	c.told = c.trouble;
	read_boot_id(c.boot_id);
	while (turn(&c))
		;
	pw_journal_close(c.journal);
	_exit(0);
}
