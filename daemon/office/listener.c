/* SPDX-License-Identifier: Apache-2.0 */
/* An address that is listened at by libmicrohttpd, its connections and their deadlines. */
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include "intake_internal.h"
#include "listener.h"
#include "postwalk/text.h"

#define IDLE_S 60
#define BACKLOG 1024
#define MEMORY_A_CONNECTION 16384 /* headers, and a piece of a body */
#define PEM_MAX 65536
#define KEEPER_MS 1000
#define PRIORITIES "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"

int64_t pw_since_boot_ms(void)
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

void pw_listener_deadline(struct pw_listener *l, struct MHD_Connection *c, int64_t wait_ms)
{
	const int64_t deadline_ms = wait_ms == INT64_MAX ? INT64_MAX : pw_since_boot_ms() + wait_ms;
	struct pw_slot *slot = slot_of(c);

	if (!slot)
		return;
	pthread_mutex_lock(&l->lock);
	slot->deadline_ms = deadline_ms;
	pthread_mutex_unlock(&l->lock);
}

static struct pw_slot *take_slot(struct pw_listener *l, int fd)
{
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		if (!l->slot[i].used) {
			l->slot[i] = (struct pw_slot){ .used = true, .fd = fd,
						       .deadline_ms = pw_since_boot_ms() + l->headers_ms };
			return &l->slot[i];
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
	struct pw_listener *l = cls;
	struct pw_slot *slot = *of_connection;

	pthread_mutex_lock(&l->lock);
	if (code == MHD_CONNECTION_NOTIFY_STARTED)
		*of_connection = info ? take_slot(l, info->connect_fd) : NULL;
	else if (slot)
		slot->used = false;
	pthread_mutex_unlock(&l->lock);
}

static void *keep_deadlines(void *cls)
{
	struct pw_listener *l = cls;

	pthread_mutex_lock(&l->lock);
	while (l->keeper_runs) {
		const int64_t now_ms = pw_since_boot_ms(), then_ms = now_ms + KEEPER_MS;
		const struct timespec then = { then_ms / 1000, then_ms % 1000 * 1000000 };

		for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
			if (l->slot[i].used && l->slot[i].deadline_ms <= now_ms)
				shutdown(l->slot[i].fd,
					 SHUT_RDWR); /* the library sees it and closes */
		pthread_cond_timedwait(&l->news, &l->lock, &then);
	}
	pthread_mutex_unlock(&l->lock);
	return NULL;
}

void pw_listener_address(struct MHD_Connection *c, char address[PW_ADDRESS_TEXT])
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
	const struct sockaddr *at = info ? info->client_addr : NULL;

	snprintf(address, PW_ADDRESS_TEXT, "?");
	if (at && at->sa_family == AF_INET)
		inet_ntop(AF_INET, &((const struct sockaddr_in *)at)->sin_addr, address,
			  PW_ADDRESS_TEXT);
	else if (at && at->sa_family == AF_INET6)
		inet_ntop(AF_INET6, &((const struct sockaddr_in6 *)at)->sin6_addr, address,
			  PW_ADDRESS_TEXT);
}

/* -- an address, and TLS ----------------------------------------------------------------------- */

static int listen_at(struct pw_listener *l, char *why, size_t size)
{
	const int on = 1;
	struct sockaddr_storage at;
	socklen_t length;

	if (!pw_office_address(l->place, &at, &length)) {
		snprintf(why, size, "%s: expected ADDRESS:PORT, not %s", l->key, l->place);
		return -2;
	}
	l->fd = socket(at.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (l->fd < 0 || setsockopt(l->fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) ||
	    bind(l->fd, (struct sockaddr *)&at, length) || listen(l->fd, BACKLOG) ||
	    getsockname(l->fd, (struct sockaddr *)&at, &length)) {
		snprintf(why, size, "%s: %s", l->place, strerror(errno));
		return -1;
	}
	l->port = ntohs(at.ss_family == AF_INET ? ((struct sockaddr_in *)&at)->sin_port
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

static int load_pair(struct pw_listener *l, const struct pw_office_conf *c, char *why, size_t size)
{
	if (!c->certificate[0]) {
		if (pw_office_loopback(l->place))
			return 0;
		snprintf(why, size,
			 "%s is no loopback address: expected certificate and private_key "
			 "in office.conf, since without TLS anybody on the way could read along",
			 l->place);
		return -2;
	}
	l->certificate = load_pem(c->certificate, why, size);
	l->private_key = l->certificate ? load_pem(c->private_key, why, size) : NULL;
	return l->private_key ? 0 : -2;
}

int pw_listener_open(struct pw_listener *l, const char *key, const char *place,
		     const struct pw_office_conf *conf, char *why, size_t size)
{
	pthread_condattr_t monotonic;
	int result;

	l->key = key;
	l->place = place;
	l->fd = -1;
	pthread_mutex_init(&l->lock, NULL);
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(&l->news, &monotonic);
	pthread_condattr_destroy(&monotonic);
	result = load_pair(l, conf, why, size);
	return result ? result : listen_at(l, why, size);
}

void pw_listener_close(struct pw_listener *l)
{
	if (l->fd >= 0 && !l->daemon)
		close(l->fd);
	pthread_mutex_destroy(&l->lock);
	pthread_cond_destroy(&l->news);
	free(l->certificate);
	free(l->private_key);
}

/* -- serving ----------------------------------------------------------------------------------- */

/* As many as connections of two listeners, and some for the rest. */
static void raise_files(void)
{
	struct rlimit l;

	if (getrlimit(RLIMIT_NOFILE, &l) || l.rlim_cur >= PW_CONNECTIONS_MAX * 2)
		return;
	l.rlim_cur = l.rlim_max < PW_CONNECTIONS_MAX * 2 ? l.rlim_max : PW_CONNECTIONS_MAX * 2;
	setrlimit(RLIMIT_NOFILE, &l);
}

/* What is compared as it was sent needs no escape. */
static size_t leave_escaped(void *cls, struct MHD_Connection *c, char *text)
{
	(void)cls, (void)c;
	return strlen(text);
}

static struct MHD_Daemon *start_daemon(struct pw_listener *l, const struct pw_serving *as)
{
	const unsigned tls = l->certificate ? MHD_USE_TLS : 0;
	struct MHD_OptionItem more[5] = { { MHD_OPTION_END, 0, NULL } };
	size_t n = 0;

	if (!as->decodes)
		more[n++] = (struct MHD_OptionItem){ MHD_OPTION_UNESCAPE_CALLBACK,
						     (intptr_t)leave_escaped, NULL };
	if (tls) {
		more[n++] = (struct MHD_OptionItem){ MHD_OPTION_HTTPS_MEM_CERT, 0, l->certificate };
		more[n++] = (struct MHD_OptionItem){ MHD_OPTION_HTTPS_MEM_KEY, 0, l->private_key };
		more[n++] = (struct MHD_OptionItem){ MHD_OPTION_HTTPS_PRIORITIES, 0,
						     (void *)(uintptr_t)PRIORITIES };
	}
	more[n] = (struct MHD_OptionItem){ MHD_OPTION_END, 0, NULL };
	return MHD_start_daemon(
		MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | tls, 0, NULL, NULL,
		as->answer, as->cls, MHD_OPTION_LISTEN_SOCKET, l->fd, MHD_OPTION_THREAD_POOL_SIZE,
		as->threads, MHD_OPTION_CONNECTION_LIMIT, as->connections,
		MHD_OPTION_PER_IP_CONNECTION_LIMIT, as->an_address, MHD_OPTION_CONNECTION_TIMEOUT,
		(unsigned)IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)MEMORY_A_CONNECTION,
		MHD_OPTION_NOTIFY_CONNECTION, connection_notify, l, MHD_OPTION_NOTIFY_COMPLETED,
		as->ends, as->cls, MHD_OPTION_ARRAY, more, MHD_OPTION_END);
}

int pw_listener_serve(struct pw_listener *l, const struct pw_serving *as,
		      const struct pw_office_conf *conf, char *why, size_t size)
{
	raise_files();
	l->daemon = start_daemon(l, as);
	if (!l->daemon && l->certificate)
		snprintf(why, size, "%s, %s: expected a certificate and its private key",
			 conf->certificate, conf->private_key);
	else if (!l->daemon)
		snprintf(why, size, "the server cannot be started: %s", strerror(errno));
	if (!l->daemon)
		return l->certificate ? -2 : -1;
	pthread_mutex_lock(&l->lock);
	l->keeper_runs = pthread_create(&l->keeper, NULL, keep_deadlines, l) == 0;
	pthread_mutex_unlock(&l->lock);
	return 0;
}

int pw_listener_quiesce(struct pw_listener *l)
{
	return MHD_quiesce_daemon(l->daemon);
}

void pw_listener_end(struct pw_listener *l)
{
	bool runs;

	pthread_mutex_lock(&l->lock);
	runs = l->keeper_runs;
	l->keeper_runs = false;
	pthread_cond_broadcast(&l->news);
	pthread_mutex_unlock(&l->lock);
	if (runs)
		pthread_join(l->keeper, NULL);
	MHD_stop_daemon(l->daemon);
}
