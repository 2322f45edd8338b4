/* SPDX-License-Identifier: Apache-2.0 */
/* ADDRESS:PORT in digits. */
#include <arpa/inet.h>
#include <netdb.h>
#include <netinet/in.h>
#include <string.h>

#include "intake_internal.h"

/* A port of digits alone, 0 to 65535 (0: one that is free). */
static bool is_port(const char *text)
{
	size_t n = strlen(text);
	unsigned long port = 0;

	if (n == 0 || n > 5 || strspn(text, "0123456789") != n)
		return false;
	for (; *text; text++)
		port = port * 10 + (unsigned long)(*text - '0');
	return port <= UINT16_MAX;
}

bool pw_office_address(const char *text, struct sockaddr_storage *at, socklen_t *length)
{
	const struct addrinfo want = { .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV,
				       .ai_socktype = SOCK_STREAM };
	const char *colon = strrchr(text, ':');
	struct addrinfo *found;
	char host[64];

	if (!colon || colon == text || !is_port(colon + 1) || colon - text >= (long)sizeof(host))
		return false;
	if (text[0] == '[' && colon[-1] == ']')
		snprintf(host, sizeof(host), "%.*s", (int)(colon - text - 2), text + 1);
	else if (!memchr(text, ':', (size_t)(colon - text)))
		snprintf(host, sizeof(host), "%.*s", (int)(colon - text), text);
	else
		return false; /* of IPv6, and no brackets */
	if (getaddrinfo(host, colon + 1, &want, &found) != 0)
		return false;
	memset(at, 0, sizeof(*at));
	memcpy(at, found->ai_addr, found->ai_addrlen);
	*length = found->ai_addrlen;
	freeaddrinfo(found);
	return true;
}

bool pw_office_loopback(const char *text)
{
	struct sockaddr_storage at;
	socklen_t length;

	if (!pw_office_address(text, &at, &length))
		return false;
	if (at.ss_family == AF_INET)
		return ntohl(((struct sockaddr_in *)&at)->sin_addr.s_addr) >> 24 == 127;
	return at.ss_family == AF_INET6 &&
	       IN6_IS_ADDR_LOOPBACK(&((struct sockaddr_in6 *)&at)->sin6_addr);
}
