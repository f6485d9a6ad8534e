// What a recording could make of the process that reads it: this one does as the clip is named.
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <vector>

#include "examiner/examination.h"
#include "examiner/facts_wire.h"
#include "os/channel.h"

namespace {

using namespace everytake;
using namespace everytake::examiner;

char kind(Say say) {
  return static_cast<char>(say);
}

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
  const std::uint64_t numbers[] = {0, count};
  return std::string(reinterpret_cast<const char*>(numbers), sizeof numbers) + path;
}

// Asks for what is not its own, and says in its result whether it got it.
std::string pry(Channel& channel, const std::string& body) {
  (void)channel.send(kind(Say::read), body);
  const auto answer = channel.receive(1 << 20);
  return answer && *answer && (*answer)->kind == kind(Say::trouble) ? "" : "got it";
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
  const auto is = [&](const char* name) { return asked.find(name) != std::string::npos; };
  if (is("CRASH")) crash();
  if (is("HUNGRY")) eat();
  if (is("ENDLESS")) {
    (void)pry(channel, range_of(1, "ENDLESS.MP4"));
    spin();
  }
  if (is("NONSENSE")) (void)channel.send('?', "what?");
  if (is("UNFIT")) (void)channel.send(kind(Say::result), "\xa1 no facts");
  if (is("FLOOD")) {
    const char header[] = "f\xff\xff\xff\xff\xff\xff\xff\x7f";
    (void)!::write(raw, header, sizeof header - 1);
  }
  if (is("ANSWERS")) {
    (void)channel.send(kind(Say::result), pack_facts({}));
    ::poll(nullptr, 0, -1);
  }
  if (is("HALF")) (void)!::write(raw, "f\x10", 2);
  if (is("PRYING") && !pry(channel, range_of(100, "shoot.toml")).empty()) return 0;
  if (is("PRYING") && !pry(channel, range_of(kMostAsked + 1, "PRYING.MP4")).empty()) return 0;
  if (is("PRYING") && !pry(channel, "short").empty()) return 0;
  if (is("PRYING") && reaches_others(raw)) return 0;
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
