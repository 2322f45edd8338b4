/* SPDX-License-Identifier: Apache-2.0 */
/* A bus comes into the yard: that an address or a route came is worth a try (rtnetlink(7)). */
#include "uplink_internal.h"

#include <errno.h>
#include <linux/netlink.h>
#include <linux/rtnetlink.h>
#include <sys/socket.h>
#include <unistd.h>

int pw_network_open(void)
{
	const struct sockaddr_nl a = {
		.nl_family = AF_NETLINK,
		.nl_groups = RTMGRP_IPV4_IFADDR | RTMGRP_IPV4_ROUTE | RTMGRP_IPV6_IFADDR
			     | RTMGRP_IPV6_ROUTE,
	};
	int fd = socket(AF_NETLINK, SOCK_RAW | SOCK_CLOEXEC | SOCK_NONBLOCK, NETLINK_ROUTE);

	if (fd < 0 || bind(fd, (const struct sockaddr *)&a, sizeof(a)) == 0)
		return fd;
	close(fd);
	return -1;
}

static bool tells_of_one(const struct nlmsghdr *all, size_t n)
{
	for (const struct nlmsghdr *m = all; NLMSG_OK(m, n); m = NLMSG_NEXT(m, n))
		if (m->nlmsg_type == RTM_NEWADDR || m->nlmsg_type == RTM_NEWROUTE)
			return true;
	return false;
}

bool pw_network_came(int fd)
{
	union { struct nlmsghdr first; char room[8192]; } message;
	bool came = false;
	ssize_t n;

	while ((n = recv(fd, &message, sizeof(message), 0)) > 0)
		came = tells_of_one(&message.first, (size_t)n) || came;
	return came || (n < 0 && errno == ENOBUFS); /* more than was told: some of it may be that */
}
