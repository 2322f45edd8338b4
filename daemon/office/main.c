/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk-office: what the buses of a yard deliver, kept and watched over. */
#include <errno.h>
#include <malloc.h>
#include <signal.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands_internal.h"
#include "web.h"

#define OFFICE "/var/lib/postwalk-office"

static int fail(const char *why, int result)
{
	fprintf(stderr, "postwalk-office: %s\n", why);
	return result == -2 ? PW_EXIT_BAD : PW_EXIT_NOT;
}

/* Takes --office DIR out of the arguments. NULL: DIR is missing. */
static const char *take_office(int *argc, char **argv)
{
	const char *dir = OFFICE;

	for (int i = 1; i < *argc; i++) {
		if (strcmp(argv[i], "--office") != 0)
			continue;
		if (i + 1 == *argc)
			return NULL;
		dir = argv[i + 1];
		memmove(argv + i, argv + i + 2, (size_t)(*argc - i - 1) * sizeof(*argv));
		*argc -= 2;
		i--;
	}
	return dir;
}

/* -- the store, and who is on its roll --------------------------------------------------------- */

static int work_roll(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_office *o = ctx;

	return pw_roll_load(s, &o->roll, why, size);
}

static int begin(struct pw_office *o, const char *dir, bool make, char *why, size_t size)
{
	char store[300];
	int result = pw_office_open(dir, make, o, why, size);

	if (result)
		return result;
	result = pw_desk_start(pw_office_store(o, store), &o->desk, why, size);
	if (result == 0)
		result = pw_desk_do(o->desk, work_roll, o, why, size);
	if (result && o->desk)
		pw_desk_stop(o->desk);
	if (result)
		pw_office_close(o);
	return result;
}

static void end(struct pw_office *o)
{
	pw_desk_stop(o->desk);
	pw_roll_free(o->roll);
	pw_office_close(o);
	sodium_memzero(&o->key, sizeof(o->key));
}

/* -- serve ------------------------------------------------------------------------------------- */

struct serving {
	struct pw_office o;
	struct pw_server *server;
	struct pw_control *control;
	struct pw_matcher *matcher;
};

/* One that was free is the same after a SIGHUP. */
static void keep_port(char *place, size_t size, uint16_t port)
{
	char *colon = strrchr(place, ':');

	snprintf(colon, size - (size_t)(colon - place), ":%u", port);
}

static void tell_where(const struct serving *v)
{
	char fingerprint[65];

	pw_public_key_print(&v->o.key.public, fingerprint);
	printf("office %s listens at %s://%s; key %s\n", v->o.dir,
	       v->o.conf.certificate[0] ? "https" : "http", v->o.conf.listen, fingerprint);
	if (v->o.web)
		printf("pages at %s://%s\n", v->o.conf.certificate[0] ? "https" : "http",
		       v->o.conf.pages);
	fflush(stdout);
}

/* What cannot be had now, as an address that somebody else listens at, holds up no bus. */
static int begin_pages(struct serving *v, char *why, size_t size)
{
	int result = v->o.conf.pages[0] ? pw_web_start(&v->o, &v->o.web, why, size) : 0;

	if (result == -1)
		pw_office_say("no pages are served, until the office is started anew: %s", why);
	if (result == 0 && v->o.web)
		keep_port(v->o.conf.pages, sizeof(v->o.conf.pages), pw_web_port(v->o.web));
	return result == -1 ? 0 : result;
}

static void end_pages(struct serving *v)
{
	if (v->o.web)
		pw_web_stop(v->o.web);
	v->o.web = NULL;
}

static int begin_serving(struct serving *v, char *why, size_t size)
{
	int result = pw_server_start(&v->o, &v->server, why, size);

	if (result == 0) {
		keep_port(v->o.conf.listen, sizeof(v->o.conf.listen), pw_server_port(v->server));
		result = pw_teller_start(&v->o, &v->o.teller, why, size);
	}
	if (result == 0)
		result = pw_matcher_start(&v->o, &v->matcher, why, size);
	if (result == 0)
		result = begin_pages(v, why, size);
	if (result == 0)
		result = pw_control_start(&v->o, &v->control, why, size);
	return result;
}

/* The server first: who comes by the network hears that all is over, and what it has is kept. */
static void end_serving(struct serving *v)
{
	if (v->server)
		pw_server_stop(v->server);
	if (v->control)
		pw_control_stop(v->control);
	end_pages(v);
	if (v->o.teller)
		pw_teller_stop(v->o.teller);
	pw_matcher_stop(v->matcher);
}

static void renew_pages(struct serving *v)
{
	char why[240];

	if (v->o.web && pw_web_renew(v->o.web, why, sizeof(why)))
		pw_office_say("no pages are served now, until the next SIGHUP: %s", why);
}

/* SIGHUP: certificate and key as they are now, tried at a port of their own before the old go. */
static void renew(struct serving *v)
{
	char why[240], listen[sizeof(v->o.conf.listen)];
	struct pw_server *trial = NULL;

	if (!v->o.conf.certificate[0])
		return;
	memcpy(listen, v->o.conf.listen, sizeof(listen));
	snprintf(v->o.conf.listen, sizeof(v->o.conf.listen), "127.0.0.1:0");
	if (pw_server_start(&v->o, &trial, why, sizeof(why)) == 0)
		pw_server_stop(trial);
	memcpy(v->o.conf.listen, listen, sizeof(listen));
	if (!trial) {
		pw_office_say("the certificate stays as it was: %s", why);
		return;
	}
	renew_pages(v);
	if (v->server)
		pw_server_stop(v->server);
	v->server = NULL;
	if (pw_server_start(&v->o, &v->server, why, sizeof(why)))
		pw_office_say("nothing is served now, until the next SIGHUP: %s", why);
	else
		pw_office_say("the certificate is read anew");
}

static void wait_for_end(struct serving *v, const sigset_t *signals)
{
	int signal = 0;

	while (sigwait(signals, &signal) == 0 && signal == SIGHUP)
		renew(v);
	pw_office_say("ends now: %s", signal == SIGTERM ? "SIGTERM" : "SIGINT");
}

static int serve(const char *dir, int argc)
{
	struct serving v = { .server = NULL };
	char why[320];
	sigset_t signals;
	int result;

	mallopt(M_MMAP_THRESHOLD, 1 << 20); /* to map and unmap each body costs more than all else */
	if (argc > 2)
		return fail("expected postwalk-office serve [--office DIR]", -2);
	sigemptyset(&signals);
	sigaddset(&signals, SIGTERM);
	sigaddset(&signals, SIGINT);
	sigaddset(&signals, SIGHUP);
	pthread_sigmask(SIG_BLOCK, &signals, NULL); /* of all threads: they are begun from here */
	result = begin(&v.o, dir, true, why, sizeof(why));
	if (result)
		return fail(why, result);
	result = begin_serving(&v, why, sizeof(why));
	if (result == 0) {
		tell_where(&v);
		wait_for_end(&v, &signals);
	}
	end_serving(&v);
	end(&v.o);
	return result ? fail(why, result) : PW_EXIT_OK;
}

/* -- commands ---------------------------------------------------------------------------------- */

/* By the process that has the office; where there is none, here. */
static int command(const char *dir, int argc, char **argv)
{
	struct pw_office o;
	char why[320], *cwd;
	int status = pw_control_ask(dir, argc, argv);

	if (status >= 0)
		return status;
	status = begin(&o, dir, false, why, sizeof(why));
	if (status)
		return fail(why, status);
	if (strcmp(argv[0], "audit") == 0 && (status = pw_matcher_catch_up(&o, why, sizeof(why)))) {
		end(&o);
		return fail(why, status);
	}
	cwd = getcwd(NULL, 0);
	status = pw_command(&o, argc, argv, cwd ? cwd : "/", stdout, stderr);
	free(cwd);
	end(&o);
	return fflush(stdout) && status == PW_EXIT_OK ? PW_EXIT_NOT : status;
}

int main(int argc, char **argv)
{
	const char *dir = take_office(&argc, argv);

	if (sodium_init() < 0)
		return fail("libsodium cannot be used", -1);
	signal(SIGPIPE, SIG_IGN);
	if (argc > 1 && strcmp(argv[1], "--help") == 0) {
		pw_command_help(stdout);
		return PW_EXIT_OK;
	}
	if (argc < 2 || !dir) {
		pw_command_help(stderr);
		return PW_EXIT_BAD;
	}
	return strcmp(argv[1], "serve") == 0 ? serve(dir, argc) : command(dir, argc - 1, argv + 1);
}
