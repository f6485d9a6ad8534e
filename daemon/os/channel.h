// Messages between two processes over a socket.
#pragma once

#include <sys/socket.h>

#include <chrono>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "os/posix_fs.h"

namespace everytake {

struct Message {
  char kind = 0;
  std::string body;  // bytes
};

// One end. For one thread at a time. Trusts nothing of what comes in.
class Channel {
 public:
  using Duration = std::chrono::steady_clock::duration;
  static constexpr auto kForever = Duration::max();

  // Its calls wait for the other end for `patience` at most, all together.
  explicit Channel(Descriptor socket, Duration patience = kForever) : socket_(std::move(socket)), patience_(patience) {}
  // Two ends that are connected, closed on exec.
  static Result<std::pair<Descriptor, Descriptor>> ends();

  // Both fail with `gone` where the other end is closed, `busy` where patience ended, and `cancelled` once `interrupt`,
  // a descriptor, is readable (−1: none).
  Result<void> send(char kind, std::string_view body, int interrupt = -1);
  // nullopt where the other end closed between two messages; `corrupt` for one longer than `most` bytes.
  Result<std::optional<Message>> receive(std::uint64_t most, int interrupt = -1);

  // Sends an open descriptor: the other end gets its own duplicate, closed on exec. One direction of a channel carries
  // either descriptors or messages, never both.
  Result<void> send_descriptor(int descriptor, int interrupt = -1);
  Result<std::optional<Descriptor>> receive_descriptor(int interrupt = -1);

  // Sets the patience for the calls from now on.
  void wait_at_most(Duration patience) { patience_ = patience; }
  // This end, before the object's own; no other call may follow.
  void close() { socket_ = Descriptor(); }

 private:
  Result<void> wait_for(short event, int interrupt);
  Result<std::size_t> push(const msghdr& message, int interrupt);
  Result<std::size_t> pull(msghdr& message, int interrupt);
  Result<std::size_t> take(char* to, std::size_t size, int interrupt);

  Descriptor socket_;
  Duration patience_;  // what is left of it
};

}  // namespace everytake
