/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The writer process: the only one that opens the journal. It takes batches off a socket, commits
 * each in one transaction, and says so. After an error it gives the connection up, opens the
 * journal anew, and tells which batch it finds committed there; the watch hands over again what
 * came after (J7). Between batches it seals outside (J4), keeps the alive stamp (J12), serves the uplink
 * (serve.c), and, once a start, goes through the whole chain (J6) and prunes (J11).
 *
 * It sleeps in poll without a timeout whenever the bus is parked and the disk is well.
 */
#include "child_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define SEAL_EVERY 256 /* records (J4) */
#define CHECK_SLICE 64 /* records of the old chain between two looks at the socket */

int64_t pw_child_clock_ms(clockid_t id)
{
	struct timespec t;

	clock_gettime(id, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- telling the watch ------------------------------------------------------------------------- */

void pw_child_tell(struct pw_child *c, enum pw_message_kind kind, uint64_t batch, size_t size)
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

void pw_child_tell_trouble(struct pw_child *c)
{
	memset(c->trouble.now, 0, sizeof(c->trouble.now));
	for (unsigned i = PW_ILLS; i-- > 0;)
		if (c->ill[i][0] != '\0')
			memcpy(c->trouble.now, c->ill[i], sizeof(c->trouble.now));
	if (memcmp(&c->trouble, &c->told, sizeof(c->told)) == 0)
		return;
	c->told = c->trouble;
	c->out.of.trouble = c->trouble;
	pw_child_tell(c, PW_M_TROUBLE, 0, sizeof(c->out.of.trouble));
}

void pw_child_say(char words[PW_WORDS_MAX], const char *format, ...)
{
	va_list args;

	memset(words, 0, PW_WORDS_MAX);
	va_start(args, format);
	vsnprintf(words, PW_WORDS_MAX, format, args);
	va_end(args);
}

void pw_child_give_up(struct pw_child *c, int result, const char *why)
{
	if (result == -2)
		pw_journal_leave(c->journal);
	else
		pw_journal_close(c->journal);
	c->journal = NULL;
	c->in_batch = false;
	pw_child_say(c->damage, "%s", result == -2 ? why : "");
	c->retry_at_ms = pw_child_clock_ms(CLOCK_BOOTTIME) + c->order->pace.retry_ms;
	pw_child_say(c->ill[PW_ILL_RECORDS], "records are not reaching the disk: %s", why);
	pw_child_tell_trouble(c);
}

/* -- seals outside the database (J4) ----------------------------------------------------------- */

/* After the commit: a file never says more than the journal has. */
void pw_child_seal_outside(struct pw_child *c)
{
	const uint64_t sealed = pw_journal_sealed(c->journal);
	struct pw_seal_file f = { .bus = "" };
	char why[PW_WORDS_MAX];

	if (sealed == 0)
		return;
	snprintf(f.bus, sizeof(f.bus), "%s", c->order->bus);
	memcpy(f.epoch, pw_journal_epoch(c->journal), sizeof(f.epoch));
	if (pw_journal_read_seal(c->journal, sealed, &f.seal, why, sizeof(why)) != 1)
		return;
	pw_journal_rest(c->journal);
	c->seal_waits = pw_seal_file_write(c->order->dir, &f) < 0;
	c->seal_at_ms = c->seal_waits ? pw_child_clock_ms(CLOCK_BOOTTIME) + c->order->pace.retry_ms
				      : PW_NEVER;
	if (c->seal_waits)
		pw_child_say(c->ill[PW_ILL_SEAL], "the seal file is not reaching the disk: %s: %s",
			     c->order->dir, strerror(errno));
	else
		c->ill[PW_ILL_SEAL][0] = '\0';
}

void pw_child_stamp_from(struct pw_child *c, enum pw_phase phase, int64_t at_ms)
{
	if (phase == PW_PARKED) { /* there is none to be had */
		c->stamp_at_ms = PW_NEVER;
		c->ill[PW_ILL_STAMP][0] = '\0';
	} else if (c->stamp_at_ms == PW_NEVER) {
		c->stamp_at_ms = at_ms;
	}
}

/* -- batches ----------------------------------------------------------------------------------- */

static int begin(struct pw_child *c, char *why, size_t size)
{
	c->seal_due = c->alert_due = false;
	return pw_journal_begin(c->journal, why, size);
}

/* J4: when a sweep closes, or is taken back, and at a key-off that owes none. */
static bool is_sealed(enum pw_kind kind)
{
	return kind == PW_K_SWEEP || kind == PW_K_RESTART || kind == PW_K_EXCUSED;
}

/* What is told to the office at once, by itself: so it has a seal of its own. */
static bool is_alert(const struct pw_note *n)
{
	return (n->kind == PW_K_RUNG && n->of.rung.notify)
	       || (n->kind == PW_K_FOUND && n->of.found.what == PW_FOUND_CHILD);
}

static int note(struct pw_child *c, char *why, size_t size)
{
	const struct pw_note *n = &c->in.of.note;
	struct pw_record r = {
		.boot = c->boot, .mono_ms = n->mono_ms, .wall_ms = n->wall_ms,
		.wall_ok = n->wall_ok != 0, .kind = n->kind, .body = c->body,
	};
	bool alert = is_alert(n);
	int result;

	if (pw_text_body(n, c->body, sizeof(c->body)) < 0) {
		/* too long as JSON: that it was there is told in its place */
		snprintf(c->body, sizeof(c->body), "{\"count\":1}");
		r.kind = PW_K_LOST;
		alert = false;
	}
	c->seal_due = c->seal_due || is_sealed(r.kind);
	c->alert_due = c->alert_due || alert;
	result = pw_journal_add(c->journal, &r, why, size);
	if (result == 0 && (alert || r.seq - pw_journal_sealed(c->journal) >= SEAL_EVERY))
		result = pw_journal_seal(c->journal, &c->key, why, size);
	return result;
}

static void committed(struct pw_child *c, uint64_t sealed)
{
	c->in_batch = false;
	c->ill[PW_ILL_RECORDS][0] = '\0';
	pw_child_stamp_from(c, c->phase,
			    pw_child_clock_ms(CLOCK_BOOTTIME) + c->order->pace.stamp_ms);
	c->out.of.done.seq = pw_journal_head(c->journal, NULL);
	pw_child_tell(c, PW_M_DONE, c->row.batch, sizeof(c->out.of.done));
	if (c->seal_waits || pw_journal_sealed(c->journal) != sealed)
		pw_child_seal_outside(c);
	pw_child_tell_trouble(c);
}

static int commit(struct pw_child *c, uint64_t sealed, char *why, size_t size)
{
	int result;

	if ((c->seal_due
	     && (result = pw_journal_seal(c->journal, &c->key, why, size)) < 0)
	    || (result = pw_journal_keep(c->journal, &c->row, &c->key, why, size)) < 0
	    || (result = pw_journal_commit(c->journal, why, size)) < 0)
		return result;
	committed(c, sealed);
	return c->alert_due ? pw_serve_count(c, why, size) : 0;
}

static int keep(struct pw_child *c, char *why, size_t size)
{
	const struct pw_keep *k = &c->in.of.keep;

	if (pw_text_kept(&k->state, c->row.state, sizeof(c->row.state)) < 0) {
		snprintf(why, size, "the state does not fit the journal");
		return -1;
	}
	c->row.mono_ms = k->mono_ms;
	c->row.wall_ms = k->wall_ms;
	c->row.boot = c->boot;
	c->row.batch = c->in.head.batch;
	c->row.ended = false;
	memcpy(c->row.boot_id, c->boot_id, sizeof(c->boot_id));
	if (c->phase == PW_DRIVING && k->state.phase != PW_DRIVING)
		c->seal_due = true;
	c->phase = k->state.phase;
	return commit(c, c->sealed_before, why, size);
}

/* An orderly stop: what was last kept is how it ended. */
static int end(struct pw_child *c, char *why, size_t size)
{
	int result = 0;

	if (c->row.boot != c->boot) /* nothing of this start was kept */
		return 0;
	c->row.ended = true;
	c->seal_due = true;
	if ((result = pw_journal_begin(c->journal, why, size)) < 0)
		return result;
	return commit(c, pw_journal_sealed(c->journal), why, size);
}

static int broken_off(struct pw_child *c, char *why, size_t size)
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
	case PW_M_END:
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

static void handle(struct pw_child *c)
{
	static int (*const handlers[])(struct pw_child *, char *, size_t) = {
		[PW_M_BEGIN] = begin, [PW_M_NOTE] = note, [PW_M_KEEP] = keep,
		[PW_M_END] = end,
	};
	char why[PW_WORDS_MAX];
	int result;

	/* after trouble: the rest of a batch that will come again */
	if (c->journal == NULL
	    || (!c->in_batch && c->in.head.kind != PW_M_BEGIN && c->in.head.kind != PW_M_END))
		return;
	if ((c->in.head.kind == PW_M_BEGIN || c->in.head.kind == PW_M_END) && c->in_batch)
		result = broken_off(c, why, sizeof(why));
	else
		result = handlers[c->in.head.kind](c, why, sizeof(why));
	if (result < 0) {
		c->failed = c->in.head.batch;
		pw_child_give_up(c, result, why);
	} else if (c->in.head.kind == PW_M_BEGIN) {
		c->in_batch = true;
		c->sealed_before = pw_journal_sealed(c->journal);
	}
}

/* False when the watch has ended. */
static bool receive(struct pw_child *c)
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
static void stamp(struct pw_child *c, int64_t now_ms)
{
	struct pw_stamp s = {
		.boot = c->boot, .mono_ms = now_ms, .wall_ms = pw_child_clock_ms(CLOCK_REALTIME),
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
		pw_child_say(c->ill[PW_ILL_STAMP], "the alive stamp is not reaching the disk: "
			     "%s/alive: %s", c->order->dir, strerror(errno));
		c->stamp_at_ms = now_ms + c->order->pace.retry_ms;
		if (c->stamp >= 0)
			close(c->stamp);
		c->stamp = -1;
	} else {
		c->ill[PW_ILL_STAMP][0] = '\0';
	}
	pw_child_tell_trouble(c);
}

/* -- the whole chain, and pruning -------------------------------------------------------------- */

static void take_flaw(void *ctx, const struct pw_found *f)
{
	struct pw_child *c = ctx;

	if (c->flaw[0] == '\0' && pw_flaw_is_damage(f->flaw))
		pw_child_say(c->flaw, "%s/journal.db: seq %llu: %s", c->order->dir,
			     (unsigned long long)f->seq, f->words);
}

/* 1: there is more; 0: all is sound; -1, -2. */
static int check_slice(struct pw_child *c, char *why, size_t size)
{
	struct pw_record r;
	struct pw_seal s;
	int result = 1;

	for (unsigned i = 0; i < CHECK_SLICE && result == 1 && c->flaw[0] == '\0'; i++) {
		result = pw_journal_read(c->journal, c->check.seq + 1, &r, why, size);
		if (result == 1)
			pw_check_record(&c->check, &r);
		if (result == 1 && c->next_seal <= r.seq) {
			result = pw_journal_read_seal(c->journal, c->next_seal, &s, why, size);
			c->next_seal = result == 1 ? s.seq : UINT64_MAX;
			if (result == 1 && s.seq <= r.seq) {
				pw_check_seal(&c->check, &s);
				c->next_seal = s.seq + 1;
			}
			result = result == 0 ? 1 : result;
		}
	}
	pw_journal_rest(c->journal);
	if (result == 0)
		pw_check_end(&c->check); /* and was its beginning dropped by rule (J11)? */
	if (c->flaw[0] == '\0')
		return result;
	snprintf(why, size, "%s", c->flaw);
	return -2;
}

static int prune(struct pw_child *c, char *why, size_t size)
{
	int result = pw_journal_prune(c->journal, &c->row, pw_child_clock_ms(CLOCK_REALTIME),
				      c->order->pace.keep_days, &c->key, why, size);

	if (result == 1)
		pw_child_seal_outside(c);
	return result;
}

/* Pruning goes on from a state of this start: it waits for the first. */
static bool has_idle_work(const struct pw_child *c)
{
	if (c->journal == NULL || c->in_batch || c->checking == PW_CHECK_OVER)
		return false;
	return c->checking != PW_PRUNE_DUE || c->row.boot == c->boot;
}

static int go_on(struct pw_child *c, char *why, size_t size)
{
	int result;

	if (c->checking == PW_PRUNE_DUE) {
		c->checking = PW_CHECK_OVER;
		return prune(c, why, size);
	}
	if (c->checking == PW_CHECK_DUE) {
		pw_check_begin(&c->check, c->order->bus, &c->key.public, take_flaw, c);
		c->flaw[0] = '\0';
		c->next_seal = 1;
		c->checking = PW_CHECK_RUNS;
	}
	result = check_slice(c, why, size);
	if (result == 0)
		c->checking = PW_PRUNE_DUE;
	return result;
}

/* In the idle time of a start: a slice, until all is gone through; then what may go. */
static void go_through(struct pw_child *c)
{
	char why[PW_WORDS_MAX];
	int result = go_on(c, why, sizeof(why));

	if (result < 0) {
		c->checking = PW_CHECK_OVER;
		pw_child_give_up(c, result, why);
	}
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

static void seal_again(struct pw_child *c, int64_t now_ms)
{
	c->seal_at_ms = now_ms + c->order->pace.retry_ms;
	if (c->journal == NULL || c->in_batch)
		return;
	pw_child_seal_outside(c);
	if (c->receipt_waits)
		pw_child_receipt_outside(c);
	pw_child_tell_trouble(c);
}

static int64_t next_of(const struct pw_child *c)
{
	const int64_t serve_ms = pw_serve_next_ms(c);
	int64_t next_ms = c->stamp_at_ms < c->retry_at_ms ? c->stamp_at_ms : c->retry_at_ms;

	if (serve_ms < next_ms)
		next_ms = serve_ms;
	return c->seal_at_ms < next_ms ? c->seal_at_ms : next_ms;
}

/* What is due; then a batch, before anything that the uplink asks or that a start has left to do. */
static bool turn(struct pw_child *c)
{
	struct pollfd wait[1 + PW_SERVE_FDS] = { { .fd = c->sock, .events = POLLIN } };
	int64_t now_ms = pw_child_clock_ms(CLOCK_BOOTTIME);
	const bool idle_work = has_idle_work(c);

	pw_serve_poll(c, wait + 1);
	poll(wait, 1 + PW_SERVE_FDS, idle_work || pw_serve_busy(c) ? 0 : until(next_of(c), now_ms));
	now_ms = pw_child_clock_ms(CLOCK_BOOTTIME);
	if (c->retry_at_ms <= now_ms)
		pw_child_open(c);
	if (c->stamp_at_ms <= now_ms)
		stamp(c, now_ms);
	if (c->seal_at_ms <= now_ms)
		seal_again(c, now_ms);
	if (wait[0].revents != 0)
		return receive(c);
	pw_serve_tend(c, wait + 1, now_ms);
	if (idle_work && has_idle_work(c))
		go_through(c);
	return true;
}

_Noreturn void pw_writer_child(int sock, const struct pw_order *order)
{
	struct pw_child c = {
		.lock = -1, .stamp = -1, .order = order, .boot = order->boot,
		.stamp_at_ms = PW_NEVER, .seal_at_ms = PW_NEVER, .retry_at_ms = INT64_MIN,
		.checking = order->boot == 0 ? PW_CHECK_DUE : PW_CHECK_OVER,
	};

	c.sock = settle_in(sock);
	memcpy(c.trouble.start, order->start, sizeof(c.trouble.start));
	c.told = c.trouble;
	read_boot_id(c.boot_id);
	while (turn(&c))
		;
	pw_serve_end(&c);
	pw_journal_close(c.journal);
	_exit(0);
}
