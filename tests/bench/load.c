/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Buses that deliver as fast as an office takes it: each a connection of its own, one batch after the
 * other, prepared beforehand, so that what is measured is the office.
 *
 *	load PORT [--idle N] STATE...
 *
 * STATE: a bus's folder, enrolled (office.conf), with its export beside its journal as export.jsonl.
 * --idle: so many more connections stand open meanwhile. Prints records, batches, bytes, seconds,
 * and how long batches took (p50, p99, largest).
 */
#include <arpa/inet.h>
#include <errno.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define AIM 131072 /* bytes of a batch: between 64 and 256 KiB */
#define BATCHES_MAX 8192

struct batch {
	char *text;
	size_t length;
	unsigned records;
};

struct bus {
	char name[64], token[80];
	char *export;
	struct batch batch[BATCHES_MAX];
	size_t batches;
	int64_t took_us[BATCHES_MAX];
	pthread_t thread;
};

static int port;
static pthread_barrier_t begin;

static void give_up(const char *what)
{
	fprintf(stderr, "load: %s: %s\n", what, strerror(errno));
	exit(2);
}

static int64_t now_us(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static int dial(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)))
		give_up("connect");
	return fd;
}

/* -- preparing --------------------------------------------------------------------------------- */

static char *read_file(const char *state, const char *name)
{
	char path[512], *text;
	FILE *f;
	long size;

	snprintf(path, sizeof(path), "%s/%s", state, name);
	f = fopen(path, "r");
	if (!f || fseek(f, 0, SEEK_END) || (size = ftell(f)) < 0 || fseek(f, 0, SEEK_SET))
		give_up(path);
	text = malloc((size_t)size + 1);
	if (!text || fread(text, 1, (size_t)size, f) != (size_t)size)
		give_up(path);
	text[size] = '\0';
	fclose(f);
	return text;
}

static void close_batch(struct bus *b, const char *head, size_t head_length, const char *from, const char *to,
			unsigned records, unsigned seals)
{
	struct batch *batch = &b->batch[b->batches++];
	size_t size = head_length + (size_t)(to - from) + 80;
	char *text = malloc(size + 512);
	int headers, end;

	if (!text || b->batches == BATCHES_MAX)
		give_up("memory");
	memcpy(text + 512, head, head_length);
	memcpy(text + 512 + head_length, from, (size_t)(to - from));
	end = snprintf(text + 512 + head_length + (to - from), 80, "{\"end\":{\"records\":%u,\"seals\":%u}}\n", records, seals);
	size = head_length + (size_t)(to - from) + (size_t)end;
	headers = snprintf(text, 512, "POST /v1/bus/%s/records?nonce=%032zx HTTP/1.1\r\nHost: 127.0.0.1\r\n"
			   "Authorization: Bearer %s\r\nContent-Type: application/jsonl\r\nContent-Length: %zu\r\n\r\n",
			   b->name, b->batches, b->token, size);
	memmove(text + headers, text + 512, size);
	*batch = (struct batch){ text, size + (size_t)headers, records };
}

static void cut_up(struct bus *b)
{
	const char *head = b->export, *line = strchr(head, '\n') + 1, *from = line;
	const size_t head_length = (size_t)(line - head);
	unsigned records = 0, seals = 0;

	while (*line == '{' && strncmp(line, "{\"end\"", 6) != 0) {
		const char *next = strchr(line, '\n') + 1;
		bool is_seal = strncmp(line, "{\"seal\"", 7) == 0;

		records += !is_seal;
		seals += is_seal;
		line = next;
		if (!is_seal || line - from < AIM)
			continue;
		close_batch(b, head, head_length, from, line, records, seals);
		records = seals = 0;
		from = line;
	}
	if (records)
		close_batch(b, head, head_length, from, line, records, seals);
}

static void prepare(struct bus *b, const char *state)
{
	char *conf = read_file(state, "office.conf"), *token = strstr(conf, "token = "), *bus;

	b->export = read_file(state, "export.jsonl");
	bus = strstr(b->export, "\"bus\":\"");
	if (!token || sscanf(token, "token = %79s", b->token) != 1 || !bus || sscanf(bus, "\"bus\":\"%63[^\"]", b->name) != 1)
		give_up(state);
	free(conf);
	cut_up(b);
	free(b->export);
}

/* -- sending ----------------------------------------------------------------------------------- */

static void send_all(int fd, const char *text, size_t length)
{
	while (length > 0) {
		ssize_t n = send(fd, text, length, MSG_NOSIGNAL);

		if (n <= 0)
			give_up("send");
		text += n;
		length -= (size_t)n;
	}
}

/* The whole answer; it has to be a receipt. */
static void receive(int fd)
{
	char text[4096];
	size_t got = 0, want = 0;

	while (want == 0 || got < want) {
		ssize_t n = recv(fd, text + got, sizeof(text) - 1 - got, 0);
		char *end, *length;

		if (n <= 0)
			give_up("recv");
		got += (size_t)n;
		text[got] = '\0';
		end = strstr(text, "\r\n\r\n");
		length = strcasestr(text, "content-length:");
		if (end && length)
			want = (size_t)(end + 4 - text) + strtoul(length + 15, NULL, 10);
	}
	if (strncmp(text, "HTTP/1.1 200", 12) != 0 || !strstr(text, "postwalk-receipt-v1")) {
		fprintf(stderr, "load: expected a receipt, not %s\n", text);
		exit(1);
	}
}

static void *deliver(void *context)
{
	struct bus *b = context;
	int fd = dial();

	pthread_barrier_wait(&begin);
	for (size_t i = 0; i < b->batches; i++) {
		int64_t from_us = now_us();

		send_all(fd, b->batch[i].text, b->batch[i].length);
		receive(fd);
		b->took_us[i] = now_us() - from_us;
	}
	close(fd);
	return NULL;
}

static int compare(const void *a, const void *b)
{
	const int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

static void tell(const struct bus *bus, size_t buses, int64_t us)
{
	static int64_t all[64 * BATCHES_MAX];
	size_t records = 0, bytes = 0, batches = 0;

	for (size_t i = 0; i < buses; i++)
		for (size_t k = 0; k < bus[i].batches && batches < sizeof(all) / sizeof(all[0]); k++) {
			all[batches++] = bus[i].took_us[k];
			records += bus[i].batch[k].records;
			bytes += bus[i].batch[k].length;
		}
	qsort(all, batches, sizeof(all[0]), compare);
	printf("records %zu\nbatches %zu\nbytes %zu\nseconds %.3f\nrecords_s %.0f\n", records, batches, bytes,
	       (double)us / 1e6, (double)records * 1e6 / (double)us);
	printf("batch_p50_us %lld\nbatch_p99_us %lld\nbatch_max_us %lld\n", (long long)all[batches / 2],
	       (long long)all[batches * 99 / 100], (long long)all[batches - 1]);
}

int main(int argc, char **argv)
{
	int first = 2, idle = 0;
	struct bus *bus;
	int64_t from_us;
	size_t buses;

	if (argc > 4 && strcmp(argv[2], "--idle") == 0) {
		idle = atoi(argv[3]);
		first = 4;
	}
	if (argc <= first)
		return 2;
	port = atoi(argv[1]);
	buses = (size_t)(argc - first);
	bus = calloc(buses, sizeof(*bus));
	if (!bus || pthread_barrier_init(&begin, NULL, (unsigned)buses + 1))
		give_up("memory");
	for (size_t i = 0; i < buses; i++)
		prepare(&bus[i], argv[first + (int)i]);
	for (int i = 0; i < idle; i++)
		dial();
	for (size_t i = 0; i < buses; i++)
		if (pthread_create(&bus[i].thread, NULL, deliver, &bus[i]))
			give_up("thread");
	pthread_barrier_wait(&begin);
	from_us = now_us();
	for (size_t i = 0; i < buses; i++)
		pthread_join(bus[i].thread, NULL);
	tell(bus, buses, now_us() - from_us);
	return 0;
}
