// What a recording could make of the process that reads it: this one does as the clip is named.
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <vector>

#include "examiner/examination.h"
#include "os/channel.h"

namespace {

using namespace everytake;
using namespace everytake::examiner;

void crash() {
  volatile int* volatile nowhere = nullptr;
  *nowhere = 1;
}

[[noreturn]] void spin() {
  for (volatile bool never = false; !never;) {
  }
  std::abort();
}

[[noreturn]] void eat() {
  std::vector<std::vector<char>> eaten;
  for (;;) eaten.emplace_back(16 << 20, 'x');
}

std::string range_of(std::uint64_t count, const std::string& path) {
  return pack(FileRange{0, count, path});
}

// A map of 200 000 keys in less than kMostPacked; to look each up among those before it takes minutes.
std::string many_keys() {
  constexpr std::uint32_t kKeys = 200'000;
  std::string bytes = "\xba";
  for (int shift = 24; shift >= 0; shift -= 8) bytes += static_cast<char>(kKeys >> shift);
  for (std::uint32_t key = 0; key < kKeys; ++key)
    bytes += {'\x63', static_cast<char>(key), static_cast<char>(key >> 8), static_cast<char>(key >> 16), '\xf6'};
  return bytes;
}

// Asks for what is not its own, and says in its result whether it got it.
std::string pry(Channel& channel, const std::string& body) {
  (void)send(channel, Say::read, body);
  const auto answer = channel.receive(1 << 20);
  return answer && *answer && is(**answer, Say::trouble) ? "" : "got it";
}

// Whether any socket but its own leads out of it.
bool reaches_others(int own) {
  for (int fd = 0; fd < 64; ++fd) {
    char byte = 0;
    const bool is_socket = ::recv(fd, &byte, 1, MSG_DONTWAIT) >= 0 || (errno != EBADF && errno != ENOTSOCK);
    if (is_socket && fd != own) return true;
  }
  return false;
}

int misbehave(const std::string& asked, Channel& channel, int raw) {
  const auto named = [&](const char* name) { return asked.find(name) != std::string::npos; };
  if (named("CRASH")) crash();
  if (named("HUNGRY")) eat();
  if (named("ENDLESS")) {
    (void)pry(channel, range_of(1, "ENDLESS.MP4"));
    spin();
  }
  if (named("NONSENSE")) (void)channel.send('?', "what?");
  if (named("UNFIT")) (void)send(channel, Say::result, "\xa1 no facts");
  if (named("DEEP")) (void)send(channel, Say::result, std::string(kMostPacked, '\x81'));  // arrays in arrays
  if (named("KEYS")) (void)send(channel, Say::result, many_keys());
  if (named("MORE"))
    for (int i = 0; i < 2; ++i) (void)send(channel, Say::bytes, "bytes");
  if (named("FLOOD")) {
    const char header[] = "f\xff\xff\xff\xff\xff\xff\xff\x7f";
    (void)!::write(raw, header, sizeof header - 1);
  }
  if (named("ANSWERS")) {
    (void)send(channel, Say::result, pack(ClipFacts{}));
    ::poll(nullptr, 0, -1);
  }
  if (named("HALF")) (void)!::write(raw, "f\x10", 2);
  if (named("PRYING") && !pry(channel, range_of(100, "shoot.toml")).empty()) return 0;
  if (named("PRYING") && !pry(channel, range_of(kMostAsked + 1, "PRYING.MP4")).empty()) return 0;
  if (named("PRYING") && !pry(channel, "short").empty()) return 0;
  if (named("PRYING") && reaches_others(raw)) return 0;
  return 3;
}

}  // namespace

int main(int argc, char** argv) {
  const auto examine = [](Descriptor socket) {
    const int raw = socket.get();
    Channel channel(std::move(socket));
    const auto asked = channel.receive(1 << 20);
    if (!asked || !*asked) return 2;
    if (!confine({512ULL << 20, 10})) return 2;
    return misbehave((*asked)->body, channel, raw);
  };
  return serve_examinations(argc, argv, examine).value_or(2);
}
