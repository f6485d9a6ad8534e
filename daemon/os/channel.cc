#include "os/channel.h"

#include <poll.h>
#include <sys/socket.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "os/system_error.h"

namespace everytake {
namespace {

constexpr std::size_t kHeader = 1 + sizeof(std::uint64_t);

tl::unexpected<Error> failed(int number) {
  return tl::unexpected(system_error("the other process does not answer", number));
}

// Room for one descriptor.
struct Rights {
  alignas(cmsghdr) std::array<char, CMSG_SPACE(sizeof(int))> bytes{};
};

msghdr message_of(iovec& data, Rights* rights = nullptr) {
  msghdr message{};
  message.msg_iov = &data;
  message.msg_iovlen = 1;
  if (rights) message.msg_control = rights->bytes.data();
  if (rights) message.msg_controllen = rights->bytes.size();
  return message;
}

}  // namespace

Result<std::pair<Descriptor, Descriptor>> Channel::ends() {
  int fds[2];
  if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, fds) != 0)
    return tl::unexpected(system_error("can't make a pair of sockets", errno));
  return std::pair(Descriptor(fds[0]), Descriptor(fds[1]));
}

Result<void> Channel::wait_for(short event, int interrupt) {
  using std::chrono::steady_clock;
  const bool forever = patience_ == kForever;
  for (;;) {
    std::array<pollfd, 2> events{{{socket_.get(), event, 0}, {interrupt, POLLIN, 0}}};
    const auto most = std::chrono::ceil<std::chrono::milliseconds>(patience_).count();
    const auto begin = steady_clock::now();
    const int ready = ::poll(events.data(), events.size(), forever ? -1 : static_cast<int>(most));
    const int failed_by = ready < 0 ? errno : 0;
    if (!forever) patience_ -= std::min(patience_, steady_clock::now() - begin);
    if (failed_by == EINTR) continue;
    if (failed_by) return failed(failed_by);
    if (events[1].revents) return fail(Code::cancelled, "stopped");
    if (ready > 0) return {};
    return fail(Code::busy, "the other process does not answer");
  }
}

Result<std::size_t> Channel::push(const msghdr& message, int interrupt) {
  for (;;) {
    TRY(wait_for(POLLOUT, interrupt));
    const auto sent = ::sendmsg(socket_.get(), &message, MSG_NOSIGNAL | MSG_DONTWAIT);
    if (sent >= 0) return static_cast<std::size_t>(sent);
    if (errno == EPIPE || errno == ECONNRESET) return fail(Code::gone, "the other process ended");
    if (errno != EAGAIN && errno != EINTR) return failed(errno);
  }
}

// 0 where the other end closed.
Result<std::size_t> Channel::pull(msghdr& message, int interrupt) {
  for (;;) {
    TRY(wait_for(POLLIN, interrupt));
    const auto got = ::recvmsg(socket_.get(), &message, MSG_DONTWAIT | MSG_CMSG_CLOEXEC);
    if (got >= 0) return static_cast<std::size_t>(got);
    if (errno == ECONNRESET) return std::size_t{0};
    if (errno != EAGAIN && errno != EINTR) return failed(errno);
  }
}

Result<void> Channel::send(char kind, std::string_view body, int interrupt) {
  const std::uint64_t size = body.size();
  std::array<char, kHeader> header{kind};
  std::memcpy(header.data() + 1, &size, sizeof size);
  for (std::string_view rest : {std::string_view(header.data(), kHeader), body})
    while (!rest.empty()) {
      iovec data{const_cast<char*>(rest.data()), rest.size()};
      rest.remove_prefix(TRY(push(message_of(data), interrupt)));
    }
  return {};
}

// How much of `size` came before the other end closed.
Result<std::size_t> Channel::take(char* to, std::size_t size, int interrupt) {
  std::size_t got = 0;
  while (got < size) {
    iovec data{to + got, size - got};
    auto message = message_of(data);
    const auto more = TRY(pull(message, interrupt));
    if (more == 0) break;
    got += more;
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

// unix(7), SCM_RIGHTS: it goes with a byte, which says nothing.
Result<void> Channel::send_descriptor(int descriptor, int interrupt) {
  char byte = 0;
  iovec data{&byte, 1};
  Rights rights;
  auto message = message_of(data, &rights);
  auto* const header = CMSG_FIRSTHDR(&message);
  header->cmsg_level = SOL_SOCKET;
  header->cmsg_type = SCM_RIGHTS;
  header->cmsg_len = CMSG_LEN(sizeof descriptor);
  std::memcpy(CMSG_DATA(header), &descriptor, sizeof descriptor);
  TRY(push(message, interrupt));
  return {};
}

Result<std::optional<Descriptor>> Channel::receive_descriptor(int interrupt) {
  char byte = 0;
  iovec data{&byte, 1};
  Rights rights;
  auto message = message_of(data, &rights);
  if (TRY(pull(message, interrupt)) == 0) return std::nullopt;
  const auto* const header = CMSG_FIRSTHDR(&message);
  if (!header || header->cmsg_level != SOL_SOCKET || header->cmsg_type != SCM_RIGHTS ||
      header->cmsg_len != CMSG_LEN(sizeof(int)))
    return fail(Code::corrupt, "the other process sends no descriptor");
  int descriptor = -1;
  std::memcpy(&descriptor, CMSG_DATA(header), sizeof descriptor);
  return Descriptor(descriptor);
}

}  // namespace everytake
