/* SPDX-License-Identifier: Apache-2.0 */
/* HTTP and HTTPS by libmicrohttpd: its life, its connections and their deadlines. */
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include "server_internal.h"
#include "postwalk/text.h"

#define THREADS 2
#define IDLE_S 60
#define BACKLOG 1024
#define MEMORY_A_CONNECTION 16384 /* headers, and a piece of a body */
#define PEM_MAX 65536
#define KEEPER_MS 1000
#define PRIORITIES "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"

static int64_t boot_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- connections and their deadlines ----------------------------------------------------------- */

static struct pw_slot *slot_of(struct MHD_Connection *c)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);

	return info ? info->socket_context : NULL;
}

/* wait_ms INT64_MAX: it has none. */
static void set_deadline(struct pw_server *s, struct MHD_Connection *c, int64_t wait_ms)
{
	const int64_t deadline_ms = wait_ms == INT64_MAX ? INT64_MAX : boot_ms() + wait_ms;
	struct pw_slot *slot = slot_of(c);

	if (!slot)
		return;
	pthread_mutex_lock(&s->lock);
	slot->deadline_ms = deadline_ms;
	pthread_mutex_unlock(&s->lock);
}

static struct pw_slot *take_slot(struct pw_server *s, int fd)
{
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		if (!s->slot[i].used) {
			s->slot[i] = (struct pw_slot){ .used = true, .fd = fd,
						       .deadline_ms = boot_ms() + s->headers_ms };
			return &s->slot[i];
		}
	return NULL;
}

/* The library tells of the end before it closes the socket: a number is nobody else's as long as
 * its slot is used. */
static void connection_notify(void *cls, struct MHD_Connection *c, void **of_connection,
			      enum MHD_ConnectionNotificationCode code)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
	struct pw_server *s = cls;
	struct pw_slot *slot = *of_connection;

	pthread_mutex_lock(&s->lock);
	if (code == MHD_CONNECTION_NOTIFY_STARTED)
		*of_connection = info ? take_slot(s, info->connect_fd) : NULL;
	else if (slot)
		slot->used = false;
	pthread_mutex_unlock(&s->lock);
}

static void *keep_deadlines(void *cls)
{
	struct pw_server *s = cls;

	pthread_mutex_lock(&s->lock);
	while (s->keeper_runs) {
		const int64_t now_ms = boot_ms(), then_ms = now_ms + KEEPER_MS;
		const struct timespec then = { then_ms / 1000, then_ms % 1000 * 1000000 };

		for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
			if (s->slot[i].used && s->slot[i].deadline_ms <= now_ms)
				shutdown(s->slot[i].fd,
					 SHUT_RDWR); /* the library sees it and closes */
		pthread_cond_timedwait(&s->news, &s->lock, &then);
	}
	pthread_mutex_unlock(&s->lock);
	return NULL;
}

/* -- requests ---------------------------------------------------------------------------------- */

static void request_free(struct pw_request *r)
{
	pw_let_go(r);
	if (r->entered)
		pw_roll_leave(r->server->o->roll, r->bus);
	pw_batch_free(r->batch);
	json_decref(r->heads);
	free(r->body);
	free(r);
}

static void request_ends(void *cls, struct MHD_Connection *c, void **of_request,
			 enum MHD_RequestTerminationCode code)
{
	struct pw_server *s = cls;

	(void)code;
	if (*of_request)
		request_free(*of_request);
	*of_request = NULL;
	set_deadline(s, c, s->headers_ms);
}

static enum MHD_Result begin(struct pw_server *s, struct MHD_Connection *c, const char *url,
			     const char *method, const char *version, void **of_request)
{
	struct pw_request *r = calloc(1, sizeof(*r));

	if (!r)
		return MHD_NO;
	*of_request = r; /* request_ends frees it */
	r->server = s;
	r->connection = c;
	if (!pw_request_begin(r, url, method, version))
		return pw_answer_wrong(r);
	set_deadline(s, c, s->request_ms);
	return MHD_YES;
}

static void take_piece(struct pw_request *r, const char *piece, size_t *size)
{
	if (r->body && r->got + *size <= r->length) {
		memcpy(r->body + r->got, piece, *size);
		r->got += *size;
	}
	*size = 0;
}

/* Called with the headers, with each piece of a body, when the request is whole, and when the desk
 * is done with it. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	struct pw_request *r = *of_request;
	struct pw_server *s = cls;

	if (!r)
		return begin(s, c, url, method, version, of_request);
	if (*upload_size) {
		take_piece(r, upload, upload_size);
		return MHD_YES;
	}
	set_deadline(s, c, r->posted ? s->headers_ms : INT64_MAX);
	if (pw_request_act(r))
		return MHD_YES;
	set_deadline(s, c, s->headers_ms);
	return pw_request_answer(r);
}

/* Paths and values are compared as they were sent: none of ours needs an escape. */
static size_t leave_escaped(void *cls, struct MHD_Connection *c, char *text)
{
	(void)cls, (void)c;
	return strlen(text);
}

/* -- listening --------------------------------------------------------------------------------- */

static int listen_at(struct pw_server *s, const char *place, char *why, size_t size)
{
	const int on = 1;
	struct sockaddr_storage at;
	socklen_t length;

	if (!pw_office_address(place, &at, &length)) {
		snprintf(why, size, "listen: expected ADDRESS:PORT, not %s", place);
		return -2;
	}
	s->listener = socket(at.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (s->listener < 0 || setsockopt(s->listener, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) ||
	    bind(s->listener, (struct sockaddr *)&at, length) || listen(s->listener, BACKLOG) ||
	    getsockname(s->listener, (struct sockaddr *)&at, &length)) {
		snprintf(why, size, "%s: %s", place, strerror(errno));
		return -1;
	}
	s->port = ntohs(at.ss_family == AF_INET ? ((struct sockaddr_in *)&at)->sin_port
						: ((struct sockaddr_in6 *)&at)->sin6_port);
	return 0;
}

static char *load_pem(const char *path, char *why, size_t size)
{
	char *text = malloc(PEM_MAX);
	ssize_t n = text ? pw_whole_read(AT_FDCWD, path, text, PEM_MAX) : -1;

	if (n > 0 && n < PEM_MAX && strstr(text, "-----BEGIN "))
		return text;
	if (n < 0)
		snprintf(why, size, "%s: %s", path, strerror(errno));
	else
		snprintf(why, size, "%s: expected PEM", path);
	free(text);
	return NULL;
}

static int load_pair(struct pw_server *s, char *why, size_t size)
{
	const struct pw_office_conf *c = &s->o->conf;

	if (!c->certificate[0]) {
		if (pw_office_loopback(c->listen))
			return 0;
		snprintf(why, size,
			 "%s is no loopback address: expected certificate and private_key "
			 "in office.conf, since without TLS anybody on the way could read along",
			 c->listen);
		return -2;
	}
	s->certificate = load_pem(c->certificate, why, size);
	s->private_key = s->certificate ? load_pem(c->private_key, why, size) : NULL;
	return s->private_key ? 0 : -2;
}

/* As many as connections, and some for the rest. */
static void raise_files(void)
{
	struct rlimit l;

	if (getrlimit(RLIMIT_NOFILE, &l) || l.rlim_cur >= PW_CONNECTIONS_MAX * 2)
		return;
	l.rlim_cur = l.rlim_max < PW_CONNECTIONS_MAX * 2 ? l.rlim_max : PW_CONNECTIONS_MAX * 2;
	setrlimit(RLIMIT_NOFILE, &l);
}

static int start_daemon(struct pw_server *s, char *why, size_t size)
{
	const unsigned tls = s->certificate ? MHD_USE_TLS : 0;
	struct MHD_OptionItem tls_options[] = {
		{ MHD_OPTION_HTTPS_MEM_CERT, 0, s->certificate },
		{ MHD_OPTION_HTTPS_MEM_KEY, 0, s->private_key },
		{ MHD_OPTION_HTTPS_PRIORITIES, 0, (void *)(uintptr_t)PRIORITIES },
		{ MHD_OPTION_END, 0, NULL },
	};

	s->daemon = MHD_start_daemon(
		MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | tls, 0, NULL, NULL,
		answer, s, MHD_OPTION_LISTEN_SOCKET, s->listener, MHD_OPTION_THREAD_POOL_SIZE,
		(unsigned)THREADS, MHD_OPTION_CONNECTION_LIMIT, (unsigned)PW_CONNECTIONS_MAX,
		MHD_OPTION_PER_IP_CONNECTION_LIMIT, (unsigned)PW_CONNECTIONS_AN_ADDRESS,
		MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
		(size_t)MEMORY_A_CONNECTION, MHD_OPTION_NOTIFY_CONNECTION, connection_notify, s,
		MHD_OPTION_NOTIFY_COMPLETED, request_ends, s, MHD_OPTION_UNESCAPE_CALLBACK,
		leave_escaped, NULL, MHD_OPTION_ARRAY, tls ? tls_options : tls_options + 3,
		MHD_OPTION_END);
	if (s->daemon)
		return 0;
	if (tls)
		snprintf(why, size, "%s, %s: expected a certificate and its private key",
			 s->o->conf.certificate, s->o->conf.private_key);
	else
		snprintf(why, size, "the server cannot be started: %s", strerror(errno));
	return tls ? -2 : -1;
}

/* -- its life ---------------------------------------------------------------------------------- */

static struct pw_server *server_new(struct pw_office *o)
{
	struct pw_server *s = calloc(1, sizeof(*s));
	pthread_condattr_t monotonic;

	if (!s)
		return NULL;
	s->o = o;
	s->listener = -1;
	s->headers_ms = PW_HEADERS_MS;
	s->request_ms = PW_REQUEST_MS;
	pthread_mutex_init(&s->lock, NULL);
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(&s->news, &monotonic);
	pthread_condattr_destroy(&monotonic);
	return s;
}

static void server_free(struct pw_server *s)
{
	if (s->listener >= 0 && !s->daemon)
		close(s->listener);
	pthread_mutex_destroy(&s->lock);
	pthread_cond_destroy(&s->news);
	free(s->certificate);
	free(s->private_key);
	free(s);
}

int pw_server_start(struct pw_office *o, struct pw_server **server, char *why, size_t size)
{
	struct pw_server *s = server_new(o);
	int result;

	if (!s) {
		snprintf(why, size, "there is no memory for the server");
		return -1;
	}
	raise_files();
	result = load_pair(s, why, size);
	if (result == 0)
		result = listen_at(s, o->conf.listen, why, size);
	if (result == 0)
		result = start_daemon(s, why, size);
	if (result) {
		server_free(s);
		return result;
	}
	pthread_mutex_lock(&s->lock);
	s->keeper_runs = pthread_create(&s->keeper, NULL, keep_deadlines, s) == 0;
	pthread_mutex_unlock(&s->lock);
	*server = s;
	return 0;
}

/* No new connections; what is at the desk comes back before the library is asked to end. */
void pw_server_stop(struct pw_server *s)
{
	bool runs;
	int listener = MHD_quiesce_daemon(s->daemon);

	pthread_mutex_lock(&s->lock);
	s->stopping = true;
	while (s->posted > 0)
		pthread_cond_wait(&s->news, &s->lock);
	runs = s->keeper_runs;
	s->keeper_runs = false;
	pthread_cond_broadcast(&s->news);
	pthread_mutex_unlock(&s->lock);
	if (runs)
		pthread_join(s->keeper, NULL);
	MHD_stop_daemon(s->daemon);
	if (listener >= 0)
		close(listener);
	server_free(s);
}

uint16_t pw_server_port(const struct pw_server *s)
{
	return s->port;
}
