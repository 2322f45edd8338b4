/* SPDX-License-Identifier: Apache-2.0 */
#include <arpa/inet.h>
#include <string.h>
#include <strings.h>

#include "page_internal.h"

#define HOST_MAX 128

static bool address_allowed(const char *host, const struct sockaddr *reached_at)
{
	struct in_addr v4;
	struct in6_addr v6;

	if (inet_pton(AF_INET, host, &v4) == 1)
		return ntohl(v4.s_addr) >> 24 == 127 ||
		       (reached_at->sa_family == AF_INET &&
			((const struct sockaddr_in *)(const void *)reached_at)->sin_addr.s_addr ==
				v4.s_addr);
	if (inet_pton(AF_INET6, host, &v6) == 1)
		return IN6_IS_ADDR_LOOPBACK(&v6) ||
		       (reached_at->sa_family == AF_INET6 &&
			IN6_ARE_ADDR_EQUAL(&v6, &((const struct sockaddr_in6 *)(const void *)
							  reached_at)->sin6_addr));
	return false;
}

/* A foreign page may make its own name lead here; it cannot make a browser send an address or
 * localhost as Host. So the port does not matter: a tunnel may have changed it. */
bool pw_host_allowed(const char *host, const struct sockaddr *reached_at)
{
	bool brackets = host[0] == '[';
	const char *name = host + brackets, *end = strpbrk(name, brackets ? "]" : ":");
	const char *port = end ? end + brackets : "";
	size_t len = end ? (size_t)(end - name) : strlen(name);
	char text[HOST_MAX];

	if ((brackets && !end) || len >= sizeof text)
		return false;
	if (*port && (*port != ':' || strspn(port + 1, "0123456789") != strlen(port + 1)))
		return false;
	memcpy(text, name, len);
	text[len] = '\0';
	if (brackets != (strchr(text, ':') != NULL))
		return false;
	return !strcasecmp(text, "localhost") || address_allowed(text, reached_at);
}
