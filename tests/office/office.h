/* SPDX-License-Identifier: Apache-2.0 */
/*
 * office.h - a real postwalk-office of the tests' own ($POSTWALK_OFFICE), in a temporary folder and
 * on a free port; its commands; and requests to it, byte by byte over a socket.
 */
#ifndef OFFICE_OFFICE_H
#define OFFICE_OFFICE_H

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "made.h"

#define OFFICE_PATIENCE_MS 60000 /* until something has gone wrong */

struct office {
	char dir[64], said[300]; /* said: its line when it listens */
	pid_t pid;
	int port, out;
	struct pw_public_key key;
};

static inline int64_t office_now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static inline const char *office_program(void)
{
	const char *program = getenv("POSTWALK_OFFICE");

	if (!program)
		fail_msg("POSTWALK_OFFICE is not set");
	return program;
}

static inline void office_dir(struct office *o)
{
	memset(o, 0, sizeof(*o));
	o->out = -1;
	snprintf(o->dir, sizeof(o->dir), "%s/postwalk-office-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	if (!mkdtemp(o->dir))
		fail_msg("%s: %s", o->dir, strerror(errno));
}

static inline void office_write(const struct office *o, const char *name, const char *text)
{
	char path[128];
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", o->dir, name);
	f = fopen(path, "we");
	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

/* One line of what it says when it listens. False: it ended before. */
static inline bool office_hear(struct office *o)
{
	struct pollfd p = { .fd = o->out, .events = POLLIN };
	size_t n = 0;
	char why[256], path[128], *at;

	while (n + 1 < sizeof(o->said) && poll(&p, 1, OFFICE_PATIENCE_MS) == 1
	       && read(o->out, o->said + n, 1) == 1 && o->said[n] != '\n')
		n++;
	o->said[n] = '\0';
	at = strstr(o->said, "://");
	if (!at)
		return false;
	o->port = atoi(strrchr(at, ':') + 1);
	snprintf(path, sizeof(path), "%s/office.pub", o->dir);
	assert_int_equal(pw_public_key_load(path, &o->key, why, sizeof(why)), 0);
	return true;
}

/* Its errors go to DIR/err. */
static inline bool office_start(struct office *o)
{
	const char *program = office_program();
	char err[128];
	int ends[2];
	pid_t parent = getpid();

	assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
	snprintf(err, sizeof(err), "%s/err", o->dir);
	o->pid = fork();
	if (o->pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		if (getppid() != parent)
			_exit(126);
		dup2(ends[1], 1);
		dup2(open(err, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600), 2);
		execl(program, "postwalk-office", "serve", "--office", o->dir,
		      (char *)NULL);
		_exit(127);
	}
	close(ends[1]);
	o->out = ends[0];
	return office_hear(o);
}

/* Its exit status. */
static inline int office_stop(struct office *o, int sig)
{
	int status = 0;

	if (o->pid <= 0)
		return -1;
	if (sig)
		kill(o->pid, sig);
	assert_int_equal(waitpid(o->pid, &status, 0), o->pid);
	close(o->out);
	o->pid = 0;
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

static inline void office_begin(struct office *o, const char *conf)
{
	char text[1000];

	office_dir(o);
	snprintf(text, sizeof(text), "[office]\nlisten = 127.0.0.1:0\n%s", conf);
	office_write(o, "office.conf", text);
	if (!office_start(o))
		fail_msg("the office did not begin: see %s/err", o->dir);
}

static inline void office_end(struct office *o)
{
	char command[128];

	assert_int_equal(office_stop(o, SIGTERM), 0);
	snprintf(command, sizeof(command), "rm -rf '%s'", o->dir);
	assert_int_equal(system(command), 0);
}

/* A line of the shell. What it prints, errors too; to be freed. status: its exit status. */
static inline char *shell(int *status, const char *format, ...)
{
	char line[2000], *text = NULL;
	size_t length;
	va_list args;
	FILE *out = open_memstream(&text, &length), *from;

	va_start(args, format);
	vsnprintf(line, sizeof(line), format, args);
	va_end(args);
	strncat(line, " 2>&1", sizeof(line) - strlen(line) - 1);
	from = popen(line, "r");
	assert_non_null(from);
	for (int c; (c = fgetc(from)) != EOF; )
		fputc(c, out);
	*status = WEXITSTATUS(pclose(from));
	fclose(out);
	return text;
}

/* A command of the office that must do. What it prints is to be freed. */
static inline char *office_do(const struct office *o, const char *command)
{
	int status;
	char *text = shell(&status, "%s %s --office %s", office_program(), command, o->dir);

	if (status)
		fail_msg("%s: %d: %s", command, status, text);
	return text;
}

static inline long office_count(const struct office *o, const char *what)
{
	char *text = office_do(o, "figures"), *at = strstr(text, what);
	long n = at ? atol(at + strlen(what)) : -1;

	free(text);
	return n;
}

/* -- HTTP -------------------------------------------------------------------------------------- */

struct answer {
	int status; /* 0: none came */
	char head[2000];
	char body[8192];
	json_t *json;
};

static inline void answer_free(struct answer *a)
{
	json_decref(a->json);
	a->json = NULL;
}

static inline const char *answer_text(const struct answer *a, const char *key)
{
	const char *text = json_string_value(json_object_get(a->json, key));

	return text ? text : "";
}

static inline int64_t answer_number(const struct answer *a, const char *key)
{
	return json_integer_value(json_object_get(a->json, key));
}

static inline int office_connect(const struct office *o)
{
	struct sockaddr_in at = { .sin_family = AF_INET, .sin_port = htons((uint16_t)o->port),
				  .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_true(fd >= 0);
	if (connect(fd, (struct sockaddr *)&at, sizeof(at)))
		fail_msg("connect: %s", strerror(errno));
	return fd;
}

/* What is not taken because the other side has answered already is left. */
static inline void office_send(int fd, const void *text, size_t length)
{
	for (size_t n = 0; n < length; ) {
		ssize_t sent = send(fd, (const char *)text + n, length - n, MSG_NOSIGNAL);

		if (sent <= 0)
			return;
		n += (size_t)sent;
	}
}

static inline size_t answer_length(const char *head)
{
	const char *at = strstr(head, "Content-Length: ");

	return at ? strtoul(at + 16, NULL, 10) : 0;
}

/* One answer; the connection stays as it is. */
static inline void office_receive(int fd, struct answer *a, bool head_only)
{
	static char text[sizeof(a->head) + sizeof(a->body)];
	struct pollfd p = { .fd = fd, .events = POLLIN };
	size_t n = 0;
	char *end;

	memset(a, 0, sizeof(*a));
	for (;;) {
		text[n] = '\0';
		end = strstr(text, "\r\n\r\n");
		if (end && (head_only || n >= (size_t)(end + 4 - text) + answer_length(text)))
			break;
		ssize_t got = poll(&p, 1, OFFICE_PATIENCE_MS) == 1
				      ? recv(fd, text + n, sizeof(text) - 1 - n, 0)
				      : -1;
		if (got <= 0)
			return;
		n += (size_t)got;
	}
	snprintf(a->head, sizeof(a->head), "%.*s", (int)(end + 2 - text), text);
	snprintf(a->body, sizeof(a->body), "%s", head_only ? "" : end + 4);
	assert_int_equal(sscanf(text, "HTTP/1.1 %d", &a->status), 1);
	a->json = json_loads(a->body, JSON_REJECT_DUPLICATES, NULL);
}

/* A request by a connection of its own. more: header lines, each with its CRLF. */
static inline struct answer ask(const struct office *o, const char *method, const char *path,
				const char *more, const void *body, size_t length)
{
	struct answer a;
	char head[1000];
	int fd = office_connect(o);

	snprintf(head, sizeof(head), "%s %s HTTP/1.1\r\nHost: 127.0.0.1\r\n%s", method, path, more);
	office_send(fd, head, strlen(head));
	if (body || strcmp(method, "POST") == 0) {
		snprintf(head, sizeof(head), "Content-Length: %zu\r\n", length);
		office_send(fd, head, strlen(head));
	}
	office_send(fd, "\r\n", 2);
	office_send(fd, body, length);
	office_receive(fd, &a, strcmp(method, "HEAD") == 0);
	close(fd);
	return a;
}

/* -- buses ------------------------------------------------------------------------------------- */

#define NONCE "00112233445566778899aabbccddeeff"

struct bus {
	char id[PW_NAME_MAX], token[65];
	struct pw_secret_key key;
};

static inline void office_code(const struct office *o, const char *bus, char code[PW_CODE_MAX_TEXT])
{
	char command[64], *text;
	json_t *json;

	snprintf(command, sizeof(command), "enrol %s --json", bus);
	text = office_do(o, command);
	json = json_loads(text, 0, NULL);
	snprintf(code, PW_CODE_MAX_TEXT, "%s", json_string_value(json_object_get(json, "code")));
	json_decref(json);
	free(text);
}

static inline struct answer enrol_with(const struct office *o, const char *bus, const char *code,
				       const struct pw_secret_key *key)
{
	char fingerprint[65], text[200], sig[129], pem[PW_PEM_MAX], *body;
	json_t *json;
	struct answer a;
	int n;

	pw_public_key_print(&key->public, fingerprint);
	n = snprintf(text, sizeof(text), "postwalk-enrol-v1\n%s\n%s\n%s\n", bus, code, fingerprint);
	pw_sign(key, text, (size_t)n, sig);
	pw_public_key_pem(&key->public, pem);
	json = json_pack("{s:s,s:s,s:s,s:s}", "bus", bus, "code", code, "key", pem, "sig", sig);
	body = json_dumps(json, 0);
	a = ask(o, "POST", "/v1/enrol", "", body, strlen(body));
	json_decref(json);
	free(body);
	return a;
}

static inline void bus_enrol(const struct office *o, struct bus *b, const char *id, unsigned key)
{
	char code[PW_CODE_MAX_TEXT];
	struct answer a;

	snprintf(b->id, sizeof(b->id), "%s", id);
	made_key(key, &b->key);
	office_code(o, id, code);
	a = enrol_with(o, id, code, &b->key);
	assert_int_equal(a.status, 200);
	snprintf(b->token, sizeof(b->token), "%s", answer_text(&a, "token"));
	answer_free(&a);
}

/* A request of a bus. more: header lines beside the token's. */
static inline struct answer bus_ask(const struct office *o, const struct bus *b, const char *method,
				    const char *what, const char *more, const void *body,
				    size_t length)
{
	char path[200], lines[300];

	snprintf(path, sizeof(path), "/v1/bus/%s/%s", b->id, what);
	snprintf(lines, sizeof(lines), "Authorization: Bearer %s\r\n%s", b->token, more);
	return ask(o, method, path, lines, body, length);
}

/* A receipt that the office's key has signed over what was asked. */
static inline void assert_receipt(const struct office *o, const struct answer *a,
				  const struct pw_record *last, bool alert)
{
	struct pw_receipt r;
	char why[200], *text;
	json_t *bare = json_copy(a->json);

	if (a->status != 200)
		fail_msg("%d: %s", a->status, a->body);
	json_object_del(bare, "fresh");
	json_object_del(bare, "fork");
	text = json_dumps(bare, JSON_COMPACT);
	if (pw_receipt_read(text, strlen(text), &r, why, sizeof(why)))
		fail_msg("%s: %s", why, text);
	assert_true(pw_receipt_holds(&r, &o->key));
	assert_int_equal(r.alert, alert);
	assert_int_equal(r.seq, last->seq);
	assert_string_equal(r.hash, last->hash);
	assert_string_equal(r.epoch, last->epoch);
	assert_string_equal(r.nonce, NONCE);
	free(text);
	json_decref(bare);
}

/* Records of a journal as a batch. fresh, fork: as it must be. */
static inline void deliver(const struct office *o, const struct bus *b, const struct made *m,
			   size_t from, size_t upto, int64_t fresh, bool fork)
{
	struct text t = made_text(m, from, upto);
	struct answer a = bus_ask(o, b, "POST", "records?nonce=" NONCE, "", t.at, t.length);

	assert_receipt(o, &a, &m->record[upto], false);
	assert_int_equal(answer_number(&a, "fresh"), fresh);
	assert_int_equal(json_is_true(json_object_get(a.json, "fork")), fork);
	answer_free(&a);
	free(t.at);
}

#endif
