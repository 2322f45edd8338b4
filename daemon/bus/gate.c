/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A PIN is looked at by a process that lives for this alone: it takes its time, reads files and
 * syncs them, and whatever becomes of it, the watch goes on. Its answer lies in a pipe; its end
 * wakes the loop.
 */
#include <errno.h>
#include <fcntl.h>
#include <sched.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bus_internal.h"

#define GIVE_UP_MS 10000
#define PAGE_WAITS_MS 2500 /* 3 s, by page.h: a session that nobody hears of keeps others out */
#define RESULT_FD 3

struct result {
	enum pw_pin_answer answer;
	int64_t wait_ms;
	char why[200];
};

/* -- the child --------------------------------------------------------------------------------- */

/* Nothing of the watch stays with it: the lock of the state folder, wires, sockets. */
static bool keep_little(int out, pid_t watch)
{
	const struct rlimit no_core = { 0, 0 };
	const struct sched_param plain = { 0 };
	sigset_t none;

	prctl(PR_SET_NAME, "postwalk-pin");
	if (dup2(out, RESULT_FD) < 0 || close_range(RESULT_FD + 1, ~0U, 0) < 0)
		return false;
	sched_setscheduler(0, SCHED_OTHER, &plain);
	setrlimit(RLIMIT_CORE, &no_core); /* it holds a PIN */
	prctl(PR_SET_DUMPABLE, 0);
	for (int s = 1; s < NSIG; s++)
		signal(s, s == SIGINT || s == SIGHUP || s == SIGPIPE ? SIG_IGN : SIG_DFL);
	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
	return prctl(PR_SET_PDEATHSIG, SIGKILL) == 0 && getppid() == watch;
}

_Noreturn static void look(const struct pw_bus *b, const struct pw_act *act, int out, pid_t watch)
{
	struct result r = { .answer = PW_PIN_TROUBLE };
	char boot_id[40];

	if (!keep_little(out, watch))
		_exit(1);
	pw_boot_id(boot_id);
	r.answer = pw_pin_try(b->options->state, act->role, act->pin, b->now_ms, boot_id,
			      &r.wait_ms, r.why, sizeof(r.why));
	_exit(write(RESULT_FD, &r, sizeof(r)) == sizeof(r) ? 0 : 1);
}

/* -- the watch's side -------------------------------------------------------------------------- */

static enum pw_answer refuse(struct pw_bus *b, enum pw_role role, const char *why,
			     enum pw_answer answer)
{
	pw_tries_count(b, role, why);
	return answer;
}

static enum pw_answer start(struct pw_bus *b, const struct pw_act *act, uint32_t serial)
{
	const pid_t watch = getpid();
	int pipe_fd[2];
	pid_t pid;

	if (pipe2(pipe_fd, O_CLOEXEC | O_NONBLOCK) < 0)
		return refuse(b, act->role, "trouble", PW_NOT_DONE);
	pid = fork();
	if (pid == 0)
		look(b, act, pipe_fd[1], watch);
	close(pipe_fd[1]);
	if (pid < 0) {
		close(pipe_fd[0]);
		pw_warn("a PIN cannot be looked at: %s", strerror(errno));
		return refuse(b, act->role, "trouble", PW_NOT_DONE);
	}
	b->gate = (struct pw_gate){ .pid = pid, .fd = pipe_fd[0], .serial = serial,
				    .page = b->page ? pw_page_pid(b->page) : 0,
				    .role = act->role, .begun_ms = b->now_ms };
	return 0;
}

enum pw_answer pw_gate_try(struct pw_bus *b, const struct pw_act *act, uint32_t serial)
{
	if (act->role != PW_INSTALLER && act->role != PW_MECHANIC)
		return PW_NOT_SUCH;
	if (pw_session_taken(b, act->session))
		return refuse(b, act->role, "taken", PW_SESSION_TAKEN);
	if (b->gate.pid)
		return refuse(b, act->role, "in_hand", PW_PIN_IN_HAND);
	return start(b, act, serial);
}

/* The PIN was right; the one who sent it may have stopped waiting. */
static enum pw_answer let_in(struct pw_bus *b, struct pw_done_act *done)
{
	const struct pw_gate *g = &b->gate;

	pw_tries_note(b, g->role, true, 1, "");
	if (b->now_ms - g->begun_ms > PAGE_WAITS_MS ||
	    g->page != (b->page ? pw_page_pid(b->page) : 0))
		return PW_NOT_DONE;
	pw_session_open(b, g->role);
	memcpy(done->session, b->session.id, sizeof(done->session));
	done->role = g->role;
	done->wait_ms = pw_session_left_ms(b);
	pw_info("the %s's page is open", pw_role_name(g->role));
	return PW_DONE_SO;
}

static enum pw_answer judge(struct pw_bus *b, const struct result *r, struct pw_done_act *done)
{
	const enum pw_role role = b->gate.role;

	done->wait_ms = r->wait_ms;
	switch (r->answer) {
	case PW_PIN_RIGHT:
		return let_in(b, done);
	case PW_PIN_WRONG:
		pw_tries_note(b, role, false, 1, "wrong");
		return PW_PIN_IS_WRONG;
	case PW_PIN_WAIT:
		return refuse(b, role, "too_soon", PW_PIN_TOO_SOON);
	case PW_PIN_NONE:
		return refuse(b, role, "unset", PW_PIN_UNSET);
	case PW_PIN_TROUBLE:
		break;
	}
	pw_warn("a PIN could not be looked at: %s", r->why);
	return refuse(b, role, "trouble", PW_NOT_DONE);
}

static struct result read_result(int fd)
{
	struct result r;

	if (read(fd, &r, sizeof(r)) != sizeof(r))
		r = (struct result){ .answer = PW_PIN_TROUBLE, .why = "its process ended too soon" };
	r.why[sizeof(r.why) - 1] = '\0';
	return r;
}

/* A stopped or stalled one is answered for; until it is gone there is no other. */
static bool give_up(struct pw_bus *b, struct pw_done_act *done)
{
	struct pw_gate *g = &b->gate;

	if (g->killed || b->now_ms - g->begun_ms < GIVE_UP_MS)
		return false;
	g->killed = true;
	kill(g->pid, SIGKILL);
	pw_warn("a PIN could not be looked at within %d s", GIVE_UP_MS / 1000);
	done->answer = refuse(b, g->role, "trouble", PW_NOT_DONE);
	return true;
}

bool pw_gate_tend(struct pw_bus *b, uint32_t *serial, struct pw_done_act *done)
{
	struct pw_gate *g = &b->gate;
	struct result r;

	*done = (struct pw_done_act){ .role = PW_NOBODY };
	*serial = g->serial;
	if (!g->pid)
		return false;
	if (waitpid(g->pid, NULL, WNOHANG) == 0)
		return give_up(b, done);
	r = read_result(g->fd);
	close(g->fd);
	g->pid = 0;
	if (!g->killed)
		done->answer = judge(b, &r, done);
	return !g->killed;
}

int64_t pw_gate_next_ms(const struct pw_bus *b)
{
	return b->gate.pid && !b->gate.killed ? b->gate.begun_ms + GIVE_UP_MS : PW_NEVER;
}

/* Not waited for: it may hang in a disk. */
void pw_gate_stop(struct pw_bus *b)
{
	if (!b->gate.pid)
		return;
	kill(b->gate.pid, SIGKILL);
	close(b->gate.fd);
	b->gate.pid = 0;
}
