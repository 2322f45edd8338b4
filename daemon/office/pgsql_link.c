/* SPDX-License-Identifier: Apache-2.0 */
/* The connection to PostgreSQL: what it must be like, its lock, its schema, and what it says of
 * errors. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pgsql_internal.h"

#define LOCK "1347899206" /* PWOF */

/* -- errors ------------------------------------------------------------------------------------ */

/* What the server says of a statement that can be no other the next time. */
static int judged(const struct pw_pgsql_store *s, const char *state)
{
	static const char *const lasting[] = { "0A", "22", "23", "42", "P0" };

	for (size_t i = 0; i < sizeof(lasting) / sizeof(lasting[0]); i++)
		if (strncmp(state, lasting[i], 2) == 0)
			return -2;
	return s->auditor && strcmp(state, "25006") == 0 ? -2 : -1; /* read only */
}

int pw_pgsql_failed(const struct pw_pgsql_store *s, const PGresult *result, char *why, size_t size)
{
	const char *words = PQresultErrorField(result, PG_DIAG_MESSAGE_PRIMARY);
	const char *state = PQresultErrorField(result, PG_DIAG_SQLSTATE);

	if (words == NULL)
		words = PQerrorMessage(s->link);
	snprintf(why, size, "postgresql: %.*s", (int)strcspn(words, "\n"),
		 words[0] != '\0' ? words : "no answer");
	return state != NULL && PQstatus(s->link) == CONNECTION_OK ? judged(s, state) : -1;
}

/* Clears the result. ended (may be NULL): what its command must have come to. */
int pw_pgsql_finish(const struct pw_pgsql_store *s, PGresult *result, const char *ended, char *why,
		    size_t size)
{
	ExecStatusType status = PQresultStatus(result);
	int code = 0;

	if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
		code = pw_pgsql_failed(s, result, why, size);
	} else if (ended != NULL && strcmp(PQcmdStatus(result), ended) != 0) {
		snprintf(why, size,
			 "postgresql: the transaction had failed before and was rolled back");
		code = -1;
	}
	PQclear(result);
	return code;
}

int pw_pgsql_run(const struct pw_pgsql_store *s, const char *sql, char *why, size_t size)
{
	return pw_pgsql_finish(s, PQexec(s->link, sql), strcmp(sql, "COMMIT") == 0 ? sql : NULL,
			       why, size);
}

/* -- opening ----------------------------------------------------------------------------------- */

static void say_nothing(void *ctx, const PGresult *notice)
{
	(void)ctx;
	(void)notice;
}

/* The first column of the first row as text. */
static int ask_text(const struct pw_pgsql_store *s, const char *sql, char *text, size_t length,
		    char *why, size_t size)
{
	PGresult *result = PQexec(s->link, sql);

	text[0] = '\0';
	if (PQntuples(result) > 0)
		snprintf(text, length, "%s", PQgetvalue(result, 0, 0));
	return pw_pgsql_finish(s, result, NULL, why, size);
}

/* What the server must be like. */
static const struct demand {
	const char *setting, *least, *expected;
} demands[] = {
	{ "server_version_num", "150000", "version 15 or newer" },
	{ "server_encoding", NULL, "UTF8" },
	{ "fsync", NULL, "on" }, /* else a commit promises nothing */
};

static int meet(const struct pw_pgsql_store *s, const struct demand *d, char *why, size_t size)
{
	char sql[80], value[40];
	int result;

	snprintf(sql, sizeof(sql), "SELECT current_setting('%s')", d->setting);
	if ((result = ask_text(s, sql, value, sizeof(value), why, size)) < 0)
		return result;
	if (d->least != NULL ? atol(value) >= atol(d->least) : strcmp(value, d->expected) == 0)
		return 0;
	snprintf(why, size, "postgresql: the database has %s %s; %s was expected", d->setting,
		 value, d->expected);
	return -2;
}

/* The owner waits a moment: the server may not have noticed yet that the last one is gone. */
static int begin_session(const struct pw_pgsql_store *s, char *why, size_t size)
{
	/* JIT takes longer than our questions. Where the line broke, the server has to notice as
	 * soon as we do: until then it holds our lock. */
	static const char common[] =
		"SET search_path = postwalk, pg_catalog; SET client_encoding = 'UTF8';"
		"SET jit = off; SET tcp_keepalives_idle = 10; SET tcp_keepalives_interval = 5;"
		"SET tcp_keepalives_count = 3; SET tcp_user_timeout = '30s'";
	char sync[24];
	int result;

	if ((result = pw_pgsql_run(s, common, why, size)) < 0)
		return result;
	for (size_t i = 0; i < sizeof(demands) / sizeof(demands[0]); i++)
		if ((result = meet(s, &demands[i], why, size)) < 0)
			return result;
	if (s->auditor)
		return pw_pgsql_run(s, "SET default_transaction_read_only = on", why, size);
	if ((result = ask_text(s, "SELECT current_setting('synchronous_commit')", sync,
			       sizeof(sync), why, size)) < 0)
		return result;
	if (strcmp(sync, "on") != 0 && strcmp(sync, "remote_apply") != 0
	    && (result = pw_pgsql_run(s, "SET synchronous_commit = on", why, size)) < 0)
		return result;
	result = pw_pgsql_run(s,
		"SET lock_timeout = '1s'; SELECT pg_advisory_lock(" LOCK "); RESET lock_timeout",
		why, size);
	if (result == -1 && PQstatus(s->link) == CONNECTION_OK)
		snprintf(why, size, "postgresql: another process has this store");
	return result;
}

static long newest_schema(void)
{
	long count = 0;

	while (pw_pgsql_schema[count] != NULL)
		count++;
	return count;
}

/* All that is missing, or nothing. */
static int migrate(const struct pw_pgsql_store *s, long number, char *why, size_t size)
{
	char sql[80];
	int result = pw_pgsql_run(s, "BEGIN", why, size);

	while (result == 0 && pw_pgsql_schema[number] != NULL) {
		result = pw_pgsql_run(s, pw_pgsql_schema[number++], why, size);
		snprintf(sql, sizeof(sql), "INSERT INTO migration (number) VALUES (%ld)", number);
		if (result == 0)
			result = pw_pgsql_run(s, sql, why, size);
	}
	return result < 0 ? result : pw_pgsql_run(s, "COMMIT", why, size);
}

static int judge_schema(const struct pw_pgsql_store *s, char *why, size_t size)
{
	static const char older[] =
		"postgresql: it has schema %s; postwalk-office has to bring it to %ld first";
	static const char newer[] = "postgresql: it has schema %s, made by a newer postwalk-office;"
				    " this one knows %ld";
	char there[4], number[24] = "0";
	int result = ask_text(s, "SELECT to_regclass('postwalk.migration') IS NOT NULL", there,
			      sizeof(there), why, size);

	if (result == 0 && there[0] == 't')
		result = ask_text(s, "SELECT max(number) FROM postwalk.migration", number,
				  sizeof(number), why, size);
	if (result < 0 || atol(number) == newest_schema())
		return result;
	if (atol(number) < newest_schema() && !s->auditor)
		return migrate(s, atol(number), why, size);
	snprintf(why, size, atol(number) < newest_schema() ? older : newer, number,
		 newest_schema());
	return -2;
}

void pw_pgsql_forget_made(struct pw_pgsql_store *s)
{
	for (size_t i = 0; i < PW_MADE_KEPT; i++) {
		free(s->made[i]);
		s->made[i] = NULL;
	}
}

/* A server that went without a word is noticed within half a minute. What is in the URI stands
 * above it. */
static int join(struct pw_pgsql_store *s, char *why, size_t size)
{
	static const char *const names[] = {
		"application_name", "connect_timeout", "keepalives_idle", "keepalives_interval",
		"keepalives_count", "tcp_user_timeout", "dbname", NULL,
	};
	const char *const values[] = { "postwalk-office", "10", "10", "5", "3", "30000", s->where,
				       NULL };
	int result = -1;

	PQfinish(s->link);
	memset(s->prepared, 0, sizeof(s->prepared));
	pw_pgsql_forget_made(s);
	s->link = PQconnectdbParams(names, values, 1);
	if (PQstatus(s->link) != CONNECTION_OK) {
		pw_pgsql_failed(s, NULL, why, size);
	} else {
		PQsetNoticeReceiver(s->link, say_nothing, NULL);
		if ((result = begin_session(s, why, size)) == 0)
			result = judge_schema(s, why, size);
	}
	if (result == 0)
		return 0;
	PQfinish(s->link);
	s->link = NULL;
	return result;
}

/* Within a transaction the link is that with which it began, or none. */
int pw_pgsql_link(struct pw_pgsql_store *s, char *why, size_t size)
{
	if (s->link != NULL && PQstatus(s->link) == CONNECTION_OK)
		return 0;
	if (!s->store.begun)
		return join(s, why, size);
	snprintf(why, size, "postgresql: the connection was lost");
	return -1;
}
