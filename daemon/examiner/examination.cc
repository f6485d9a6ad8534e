#include "examiner/examination.h"

#include <new>

#include "os/background_priority.h"
#include "os/fork_server.h"

namespace everytake::examiner {

std::vector<Path> files_of(const Examination& examination) {
  std::vector<Path> files;
  for (const auto& part : examination.files.parts) files.push_back(examination.folder / part.path);
  return files;
}

Result<void> send(Channel& channel, Say what, std::string_view body, int interrupt) {
  return channel.send(static_cast<char>(what), body, interrupt);
}

std::optional<int> serve_examinations(int argc, char** argv, const std::function<int(Descriptor)>& examine) {
  if (argc != 2 || std::string_view(argv[1]) != kExamine) return std::nullopt;
  enter_background_priority();
  serve_forks([&](Descriptor socket) {
    try {
      return examine(std::move(socket));
    } catch (const std::bad_alloc&) {
      return kOutOfMemory;
    }
  });
  return 0;
}

}  // namespace everytake::examiner
