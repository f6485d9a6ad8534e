#include "base/channel.h"

#include <poll.h>
#include <sys/socket.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "base/system_error.h"

namespace everytake {
namespace {

constexpr std::size_t kHeader = 1 + sizeof(std::uint64_t);

tl::unexpected<Error> failed(int number) {
  return tl::unexpected(system_error("the other process does not answer", number));
}

}  // namespace

Result<std::pair<Descriptor, Descriptor>> Channel::ends() {
  int fds[2];
  if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, fds) != 0)
    return tl::unexpected(system_error("can't make a pair of sockets", errno));
  return std::pair(Descriptor(fds[0]), Descriptor(fds[1]));
}

Result<void> Channel::wait_for(short event, int interrupt) const {
  const bool forever = patience_ == kForever;
  const auto end = std::chrono::steady_clock::now() + (forever ? std::chrono::milliseconds{} : patience_);
  for (;;) {
    std::array<pollfd, 2> events{{{socket_.get(), event, 0}, {interrupt, POLLIN, 0}}};
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(end - std::chrono::steady_clock::now()).count();
    const int ready = ::poll(events.data(), events.size(), forever ? -1 : static_cast<int>(std::max<long>(left, 0)));
    if (ready < 0 && errno == EINTR) continue;
    if (ready < 0) return failed(errno);
    if (events[1].revents) return fail(Code::cancelled, "stopped");
    if (ready > 0) return {};
    return fail(Code::busy, "the other process does not answer");
  }
}

Result<void> Channel::send(char kind, std::string_view body, int interrupt) {
  const std::uint64_t size = body.size();
  std::array<char, kHeader> header{kind};
  std::memcpy(header.data() + 1, &size, sizeof size);
  for (std::string_view rest : {std::string_view(header.data(), kHeader), body})
    while (!rest.empty()) {
      TRY(wait_for(POLLOUT, interrupt));
      const auto sent = ::send(socket_.get(), rest.data(), rest.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
      if (sent < 0 && (errno == EAGAIN || errno == EINTR)) continue;
      if (sent < 0 && (errno == EPIPE || errno == ECONNRESET)) return fail(Code::gone, "the other process ended");
      if (sent < 0) return failed(errno);
      rest.remove_prefix(static_cast<std::size_t>(sent));
    }
  return {};
}

// How much of `size` came before the other end closed.
Result<std::size_t> Channel::take(char* to, std::size_t size, int interrupt) {
  std::size_t got = 0;
  while (got < size) {
    TRY(wait_for(POLLIN, interrupt));
    const auto more = ::recv(socket_.get(), to + got, size - got, MSG_DONTWAIT);
    if (more == 0 || (more < 0 && errno == ECONNRESET)) break;
    if (more < 0 && (errno == EAGAIN || errno == EINTR)) continue;
    if (more < 0) return failed(errno);
    got += static_cast<std::size_t>(more);
  }
  return got;
}

Result<std::optional<Message>> Channel::receive(std::uint64_t most, int interrupt) {
  std::array<char, kHeader> header{};
  const auto got = TRY(take(header.data(), header.size(), interrupt));
  if (got == 0) return std::nullopt;
  if (got < kHeader) return fail(Code::gone, "the other process ended within a message");
  std::uint64_t size = 0;
  std::memcpy(&size, header.data() + 1, sizeof size);
  if (size > most) return fail(Code::corrupt, "the other process sends too much");
  Message message{header[0], std::string(size, '\0')};
  if (TRY(take(message.body.data(), size, interrupt)) < size)
    return fail(Code::gone, "the other process ended within a message");
  return message;
}

}  // namespace everytake
