/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The watch's side of the writer (J7). Two sets of notes take turns: one is filled while the other
 * is on its way and is kept until the writer says that it is committed. Whatever gathers
 * meanwhile goes as one batch, with the latest state; so a slow disk makes batches larger and
 * never makes the watch wait. A batch's number is in the transaction that commits it: a writer
 * that starts tells the last one, and then it is known what must come again.
 */
#include "writer_internal.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define STALL_MS 2000   /* a batch that takes longer is a fault */
#define JUDGE_MS 15000  /* the same while the journal is judged: two years of it, from a slow card */
#define RESTART_MS 1000 /* between two starts of the process */
#define REAP_MS 20      /* between two looks at a process that is ending */
#define GONE_MS 100     /* for a process that was killed to be gone */

struct batch {
	struct pw_waiting notes;
	struct pw_keep keep;
	bool whole;       /* a state was kept: it can be handed over */
	int64_t since_ms; /* when the first was */
};

enum progress { BEGINNING = 1, NOTES, LAST, SENT };

struct pw_writer {
	struct pw_order order;
	struct batch batches[2], *filling, *flying; /* flying NULL: nothing is on its way */
	uint64_t number;        /* of the flying one */
	enum progress progress;
	uint64_t position;      /* of the next note to send */
	bool lost_told, blocked;
	pid_t pid;              /* 0: none */
	int fd;                 /* -1: none */
	int old_fd;             /* of a process that has ended: open for the rest of the turn */
	bool judged, ready, kept_known;
	int64_t judged_ms;      /* since when the journal has been judged; PW_NEVER: not yet */
	bool late;              /* what waits has waited too long: so until it is committed */
	int64_t restart_ms;
	int death;              /* wait status of the last one */
	unsigned deaths;        /* since one was ready */
	int64_t reap_ms;        /* when to look again whether it has ended */
	uint64_t committed, seq;
	struct pw_kept_state kept;
	struct pw_trouble trouble;
	struct pw_delivery delivery;
	char fault[2 * PW_WORDS_MAX];
	struct pw_message in;
};

static int64_t boottime_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

size_t pw_keep_size(const struct pw_state *s)
{
	const size_t kept = s->sweep.refused < PW_REFUSALS_MAX ? s->sweep.refused : PW_REFUSALS_MAX;

	return offsetof(struct pw_keep, state.sweep.refusal) + kept * sizeof(struct pw_refusal);
}

/* -- the process ------------------------------------------------------------------------------- */

static int start_process(struct pw_writer *w)
{
	int pair[2];
	pid_t pid;

	if (socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair) < 0)
		return -1;
	pid = fork();
	if (pid == 0)
		pw_writer_child(pair[1], &w->order);
	close(pair[1]);
	if (pid < 0) {
		close(pair[0]);
		return -1;
	}
	w->fd = pair[0];
	w->pid = pid;
	w->judged = false;
	w->judged_ms = PW_NEVER;
	w->trouble.now[0] = '\0'; /* that of another */
	return 0;
}

static void close_fd(int *fd)
{
	if (*fd >= 0)
		close(*fd);
	*fd = -1;
}

static void hang_up(struct pw_writer *w)
{
	if (w->fd >= 0)
		w->old_fd = w->fd;
	w->fd = -1;
	w->ready = w->blocked = false;
	w->delivery.state = PW_D_NONE;
}

/* A process that has ended is started anew, once a second at most. The old socket is closed after
 * that: so the new one has another number, and whoever polls it can see that it is another. */
static void look_after_process(struct pw_writer *w, int64_t now_ms)
{
	pid_t ended = w->pid > 0 ? waitpid(w->pid, &w->death, WNOHANG) : 0;

	if (ended > 0 || (ended < 0 && errno == ECHILD)) {
		w->pid = 0;
		w->deaths++;
		hang_up(w);
	}
	if (w->pid == 0 && now_ms >= w->restart_ms) {
		w->restart_ms = now_ms + RESTART_MS;
		start_process(w);
	}
	close_fd(&w->old_fd);
	w->reap_ms = now_ms + REAP_MS;
}

/* -- hand-over --------------------------------------------------------------------------------- */

static void land(struct pw_writer *w)
{
	pw_waiting_clear(&w->flying->notes);
	w->flying->whole = false;
	w->flying = NULL;
}

static void start_over(struct pw_writer *w)
{
	w->progress = BEGINNING;
	w->position = 0;
	w->lost_told = false;
}

static void take_off(struct pw_writer *w)
{
	struct batch *next = w->filling;

	w->filling = next == &w->batches[0] ? &w->batches[1] : &w->batches[0];
	w->flying = next;
	w->number = w->committed + 1;
	pw_waiting_move_open(&next->notes, &w->filling->notes);
	start_over(w);
}

/* False when it could not go now. */
static bool send_message(struct pw_writer *w, enum pw_message_kind kind, const void *what,
			 size_t size)
{
	struct pw_message_head head = {
		.version = PW_MESSAGE_VERSION, .kind = (uint16_t)kind, .size = (uint32_t)size,
		.batch = w->number,
	};
	struct iovec parts[2] = {
		{ .iov_base = &head, .iov_len = sizeof(head) },
		{ .iov_base = (void *)(uintptr_t)what, .iov_len = size },
	};
	struct msghdr message = { .msg_iov = parts, .msg_iovlen = 2 };

	if (sendmsg(w->fd, &message, MSG_DONTWAIT | MSG_NOSIGNAL) >= 0)
		return true;
	w->blocked = errno == EAGAIN || errno == EINTR;
	return false;
}

/* What was dropped is told in front of what was not (J7). */
static bool send_lost(struct pw_writer *w)
{
	const struct pw_waiting *q = &w->flying->notes;
	struct pw_note lost = {
		.version = PW_NOTE_VERSION, .kind = PW_K_LOST, .mono_ms = q->dropped_mono_ms,
		.wall_ms = q->dropped_wall_ms, .wall_ok = q->dropped_wall_ok,
		.of.lost.count = q->dropped,
	};

	if (q->dropped == 0 || w->lost_told)
		return true;
	lost.size = (uint32_t)pw_note_size(&lost);
	w->lost_told = send_message(w, PW_M_NOTE, &lost, lost.size);
	return w->lost_told;
}

static bool send_notes(struct pw_writer *w)
{
	uint64_t next = w->position;
	const struct pw_note *note;

	if (!send_lost(w))
		return false;
	while ((note = pw_waiting_at(&w->flying->notes, &next)) != NULL) {
		if (!send_message(w, PW_M_NOTE, note, note->size))
			return false;
		w->position = next;
	}
	return true;
}

static void hand_over(struct pw_writer *w)
{
	w->blocked = false;
	if (!w->ready)
		return;
	if (w->flying == NULL && w->filling->whole)
		take_off(w);
	if (w->flying == NULL)
		return;
	if (w->progress == BEGINNING && send_message(w, PW_M_BEGIN, NULL, 0))
		w->progress = NOTES;
	if (w->progress == NOTES && send_notes(w))
		w->progress = LAST;
	if (w->progress == LAST && send_message(w, PW_M_KEEP, &w->flying->keep,
						pw_keep_size(&w->flying->keep.state)))
		w->progress = SENT;
}

/* -- answers ----------------------------------------------------------------------------------- */

static void take_committed(struct pw_writer *w, uint64_t batch, uint64_t seq)
{
	w->committed = batch;
	w->seq = seq;
	if (w->flying != NULL && batch >= w->number)
		land(w);
}

static void take_ready(struct pw_writer *w, const struct pw_message *m)
{
	w->ready = true;
	w->deaths = 0;
	w->order.boot = m->of.ready.boot;
	take_committed(w, m->head.batch, m->of.ready.seq);
	if (w->flying != NULL)
		start_over(w);
}

static void take_kept(struct pw_writer *w, const struct pw_message *m)
{
	if (!w->kept_known)
		w->kept = m->of.kept;
	w->kept_known = true;
}

static void take_trouble(struct pw_writer *w, const struct pw_message *m)
{
	w->trouble = m->of.trouble;
	w->trouble.now[PW_WORDS_MAX - 1] = w->trouble.start[PW_WORDS_MAX - 1] = '\0';
	memcpy(w->order.start, w->trouble.start, sizeof(w->order.start));
}

/* Whole, with its padding: a snapshot is compared by its bytes. */
static void take_delivery(struct pw_writer *w, const struct pw_message *m)
{
	memcpy(&w->delivery, &m->of.delivery, sizeof(w->delivery));
	w->delivery.words[sizeof(w->delivery.words) - 1] = '\0';
}

static void take_message(struct pw_writer *w, const struct pw_message *m, size_t length)
{
	const size_t size = length - offsetof(struct pw_message, of);

	if (length < offsetof(struct pw_message, of) || m->head.version != PW_MESSAGE_VERSION
	    || m->head.size != size)
		return;
	if (m->head.kind == PW_M_KEPT && size == sizeof(m->of.kept))
		take_kept(w, m);
	else if (m->head.kind == PW_M_JUDGED && size == 0)
		w->judged = true;
	else if (m->head.kind == PW_M_READY && size == sizeof(m->of.ready))
		take_ready(w, m);
	else if (m->head.kind == PW_M_DONE && size == sizeof(m->of.done))
		take_committed(w, m->head.batch, m->of.done.seq);
	else if (m->head.kind == PW_M_TROUBLE && size == sizeof(m->of.trouble))
		take_trouble(w, m);
	else if (m->head.kind == PW_M_DELIVERY && size == sizeof(m->of.delivery))
		take_delivery(w, m);
}

static void listen_to_process(struct pw_writer *w)
{
	ssize_t n;

	while (w->fd >= 0) {
		n = recv(w->fd, &w->in, sizeof(w->in), MSG_DONTWAIT);
		if (n > 0) {
			take_message(w, &w->in, (size_t)n);
			continue;
		}
		if (n < 0 && errno == EINTR)
			continue;
		if (n == 0 || errno != EAGAIN) /* it is ending */
			hang_up(w);
		return;
	}
}

/* -- the fault --------------------------------------------------------------------------------- */

/* Since when the writer could have committed the oldest batch, or PW_NEVER. */
static int64_t oldest_ms(const struct pw_writer *w)
{
	int64_t since_ms = w->filling->whole ? w->filling->since_ms : PW_NEVER;

	if (w->flying != NULL)
		since_ms = w->flying->since_ms;
	if (since_ms != PW_NEVER && w->judged_ms != PW_NEVER && w->judged_ms > since_ms)
		since_ms = w->judged_ms;
	return since_ms;
}

static void say_death(const struct pw_writer *w, char *out, size_t size)
{
	if (WIFSIGNALED(w->death))
		snprintf(out, size, "records are not reaching the disk: the writer was ended by "
			 "signal %d", WTERMSIG(w->death));
	else
		snprintf(out, size, "records are not reaching the disk: the writer has ended");
}

static int stall_ms(const struct pw_writer *w)
{
	return w->kept_known && w->judged_ms == PW_NEVER && !w->late ? JUDGE_MS : STALL_MS;
}

static void judge(struct pw_writer *w, int64_t now_ms)
{
	const int64_t since_ms = oldest_ms(w);

	w->late = since_ms != PW_NEVER && now_ms - since_ms > stall_ms(w);
	w->fault[0] = '\0';
	if (w->deaths > (w->pid > 0))
		say_death(w, w->fault, sizeof(w->fault));
	else if (w->trouble.now[0] != '\0')
		snprintf(w->fault, sizeof(w->fault), "%s", w->trouble.now);
	else if (w->late)
		snprintf(w->fault, sizeof(w->fault), "records are not reaching the disk: the disk "
			 "or the writer has not answered for more than %d s", stall_ms(w) / 1000);
	else
		snprintf(w->fault, sizeof(w->fault), "%s", w->trouble.start);
}

/* -- the front door ---------------------------------------------------------------------------- */

static void discard(struct pw_writer *w)
{
	pw_waiting_fini(&w->batches[0].notes);
	pw_waiting_fini(&w->batches[1].notes);
	free(w->order.dir);
	free(w->order.bus);
	free(w);
}

int pw_writer_start_at(const char *dir, const char *bus, const struct pw_pace *pace,
		       struct pw_writer **out)
{
	struct pw_writer *w = calloc(1, sizeof(*w));
	int error;

	*out = NULL;
	if (w == NULL)
		return -1;
	w->fd = w->old_fd = -1;
	w->filling = &w->batches[0];
	w->order.pace = *pace;
	w->order.dir = strdup(dir);
	w->order.bus = strdup(bus);
	w->restart_ms = INT64_MIN;
	w->delivery.alert_ms = w->delivery.child_ms = PW_NO_TIME;
	if (pw_waiting_init(&w->batches[0].notes) < 0 || pw_waiting_init(&w->batches[1].notes) < 0
	    || w->order.dir == NULL || w->order.bus == NULL || start_process(w) < 0) {
		error = errno;
		discard(w);
		errno = error;
		return -1;
	}
	*out = w;
	return 0;
}

int pw_writer_start(const char *state_dir, const char *bus, uint32_t keep_days, struct pw_writer **w)
{
	const struct pw_pace pace = { .retry_ms = 1000, .stamp_ms = 5000, .keep_days = keep_days };

	return pw_writer_start_at(state_dir, bus, &pace, w);
}

/* Polls the writer until a deadline. False when that has passed. */
static bool wait_for_process(struct pw_writer *w, int64_t deadline_ms)
{
	struct pollfd one = { .fd = w->fd, .events = POLLIN };
	const int64_t now_ms = boottime_ms();
	int64_t until_ms = pw_writer_next_ms(w);

	if (now_ms >= deadline_ms)
		return false;
	if (until_ms > deadline_ms)
		until_ms = deadline_ms;
	if (pw_writer_wants_out(w))
		one.events = POLLIN | POLLOUT;
	poll(&one, 1, until_ms > now_ms ? (int)(until_ms - now_ms) : 0);
	pw_writer_tend(w, boottime_ms());
	return true;
}

/* Until it is gone, or the deadline. */
static bool wait_for_end(struct pw_writer *w, int64_t deadline_ms)
{
	struct pollfd one = { .fd = w->fd };
	int64_t left_ms;

	while (w->pid > 0 && waitpid(w->pid, &w->death, WNOHANG) == 0) {
		left_ms = deadline_ms - boottime_ms();
		if (left_ms <= 0)
			return false;
		/* POLLHUP comes a moment before it can be reaped */
		if (one.fd < 0 || poll(&one, 1, (int)left_ms) > 0) {
			one.fd = -1;
			poll(NULL, 0, 1);
		}
	}
	return true;
}

void pw_writer_stop(struct pw_writer *w, int wait_ms)
{
	const int64_t deadline_ms = boottime_ms() + wait_ms;

	if (w == NULL)
		return;
	pw_writer_tend(w, boottime_ms());
	while ((w->flying != NULL || w->filling->whole) && wait_for_process(w, deadline_ms))
		;
	if (w->ready && w->flying == NULL)
		send_message(w, PW_M_END, NULL, 0);
	if (w->fd >= 0)
		shutdown(w->fd, SHUT_WR);
	if (!wait_for_end(w, deadline_ms)) {
		kill(w->pid, SIGKILL);
		wait_for_end(w, boottime_ms() + GONE_MS);
	}
	close_fd(&w->fd);
	discard(w);
}

int pw_writer_fd(const struct pw_writer *w)
{
	return w->fd;
}

bool pw_writer_wants_out(const struct pw_writer *w)
{
	return w->blocked;
}

pid_t pw_writer_pid(const struct pw_writer *w)
{
	return w->pid;
}

int pw_writer_kept(struct pw_writer *w, int wait_ms, struct pw_kept_state *kept)
{
	const int64_t deadline_ms = boottime_ms() + wait_ms;

	while (!w->kept_known && w->trouble.now[0] == '\0' && wait_for_process(w, deadline_ms))
		;
	if (!w->kept_known)
		return -1;
	*kept = w->kept;
	return 0;
}

void pw_writer_note(struct pw_writer *w, const struct pw_note *note)
{
	const struct pw_note lost = {
		.version = PW_NOTE_VERSION, .kind = PW_K_LOST, .mono_ms = note->mono_ms,
		.wall_ms = note->wall_ms, .wall_ok = note->wall_ok, .of.lost.count = 1,
	};
	const size_t size = pw_note_size(note);

	if (size > 0)
		pw_waiting_add(&w->filling->notes, note, size);
	else /* no kind of ours: that something was meant is told */
		pw_waiting_add(&w->filling->notes, &lost, pw_note_size(&lost));
}

void pw_writer_keep(struct pw_writer *w, const struct pw_state *s, int64_t mono_ms, int64_t wall_ms)
{
	struct batch *b = w->filling;

	if (!b->whole)
		b->since_ms = mono_ms;
	b->whole = true;
	b->keep = (struct pw_keep){ .mono_ms = mono_ms, .wall_ms = wall_ms, .state = *s };
	pw_waiting_keep(&b->notes);
}

bool pw_writer_tend(struct pw_writer *w, int64_t now_ms)
{
	char before[sizeof(w->fault)];

	memcpy(before, w->fault, sizeof(before));
	listen_to_process(w);
	if (w->judged && w->judged_ms == PW_NEVER)
		w->judged_ms = now_ms;
	look_after_process(w, now_ms);
	hand_over(w);
	judge(w, now_ms);
	return strcmp(before, w->fault) != 0;
}

int64_t pw_writer_next_ms(const struct pw_writer *w)
{
	const int64_t since_ms = oldest_ms(w);

	if (w->pid == 0)
		return w->restart_ms;
	if (w->fd < 0)
		return w->reap_ms;
	if (since_ms == PW_NEVER || w->fault[0] != '\0')
		return PW_NEVER;
	return since_ms + stall_ms(w) + 1;
}

const char *pw_writer_fault(const struct pw_writer *w)
{
	return w->fault[0] != '\0' ? w->fault : NULL;
}

uint32_t pw_writer_waiting(const struct pw_writer *w)
{
	return w->filling->notes.count + (w->flying != NULL ? w->flying->notes.count : 0);
}

uint64_t pw_writer_seq(const struct pw_writer *w)
{
	return w->seq;
}

const struct pw_delivery *pw_writer_delivery(const struct pw_writer *w)
{
	return &w->delivery;
}
