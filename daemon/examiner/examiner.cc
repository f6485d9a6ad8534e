#include "examiner/examiner.h"

#include <fmt/format.h>
#include <sys/wait.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <map>

#include "base/sync.h"
#include "base/text.h"
#include "examiner/credible.h"
#include "examiner/examination.h"
#include "os/channel.h"
#include "os/event.h"
#include "os/fork_server.h"
#include "os/paths.h"

namespace everytake::examiner {
namespace {

using namespace std::chrono_literals;

constexpr auto kPatience =
    6s;                      // of waiting for it, each second it may compute: on a busy machine it waits for its turn
constexpr auto kToEnd = 5s;  // once it has said its last word
constexpr std::uint64_t kMiB = 1 << 20;
constexpr Limits kForFacts{512 * kMiB, 10};
constexpr Limits kForSound{1024 * kMiB, 300};
constexpr Limits kForStrip{2048 * kMiB, 60};      // a decoder keeps up to 17 frames, of 66 MB in 4K with alpha
constexpr std::uint64_t kMostSound = 768 * kMiB;  // more than the process may hold

// Answers what the process asks of the one recording.
class Answers {
 public:
  Answers(const ReadFs& fs, std::vector<Path> files) : fs_(fs), files_(std::move(files)) {}

  // An Error is for the process as well as any disk's. `corrupt` where the question itself is wrong.
  Result<Message> answer(const Message& question) {
    asked_ = true;
    if (is(question, Say::look)) {
      const auto path = TRY(unpack<Path>(question.body));
      TRY(check(path));
      return Message{static_cast<char>(Say::answer), pack(TRY(fs_.stat(path)))};
    }
    const auto range = TRY(unpack<FileRange>(question.body));
    if (range.count > kMostAsked) return fail(Code::corrupt, "that is too much at once");
    TRY(check(range.path));
    auto& file = open_[range.path.string()];
    if (!file) file = TRY(fs_.open(range.path, Cache::use));
    std::string bytes(range.count, '\0');
    bytes.resize(TRY(file->read(std::as_writable_bytes(std::span(bytes)), range.offset)));
    return Message{static_cast<char>(Say::bytes), std::move(bytes)};
  }
  // Whether the process had any of the recording's bytes.
  bool asked() const { return asked_; }

 private:
  Result<void> check(const Path& path) const {
    if (std::find(files_.begin(), files_.end(), path) != files_.end()) return {};
    return fail(Code::denied, "that file is not of this recording");
  }

  const ReadFs& fs_;
  const std::vector<Path> files_;
  std::map<std::string, std::unique_ptr<ReadFile>> open_;
  bool asked_ = false;
};

// Until the process says the result, or why there is none; an Error of its own where the two can't talk. At most
// `most` bytes may go before the result.
Result<Result<Finding>> converse(Channel& channel, const std::string& asked, Answers& answers, std::uint64_t most,
                                 int interrupt) {
  TRY(send(channel, Say::examine, asked, interrupt));
  Finding found;
  for (;;) {
    auto said = TRY(channel.receive(std::max<std::uint64_t>(most, kMostPacked), interrupt));
    if (!said) return fail(Code::gone, "the process ended");
    switch (static_cast<Say>(said->kind)) {
      case Say::bytes:
        if (said->body.size() > most || !found.bytes.empty()) return fail(Code::corrupt, "the process says too much");
        found.bytes = std::move(said->body);
        break;
      case Say::result:
        found.result = std::move(said->body);
        return Result<Finding>(std::move(found));
      case Say::trouble:
        return Result<Finding>(tl::unexpected(TRY(unpack<Error>(said->body))));
      case Say::look:
      case Say::read: {
        const auto answer = answers.answer(*said);
        if (answer)
          TRY(channel.send(answer->kind, answer->body, interrupt));
        else
          TRY(send(channel, Say::trouble, pack(answer.error()), interrupt));
        break;
      }
      default:
        return fail(Code::corrupt, "the process talks nonsense");
    }
  }
}

// Beside this program, as it is built; else in libexec, as it is installed (Filesystem Hierarchy Standard 3.0, 4.7).
Path program_to_examine() {
  const auto here = folder_of_program();
  const auto beside = here / "everytake-examiner";
  if (exists(beside)) return beside;
  return here.parent_path() / "libexec/everytake/everytake-examiner";
}

// Why a process that was to read a recording gave no result, as `corrupt` where it's the recording's doing.
Error verdict_on(int status, const Limits& limits) {
  const auto broken = [](std::string what) { return Error{Code::corrupt, std::move(what), 0}; };
  if (WIFEXITED(status) && WEXITSTATUS(status) == kOutOfMemory)
    return broken(fmt::format("needs more than {} MB of memory to read", limits.memory_bytes / kMiB));
  if (WIFSIGNALED(status) && WTERMSIG(status) == SIGXCPU)
    return broken(fmt::format("takes more than {} s of computing to read", limits.cpu_seconds));
  if (WIFEXITED(status))
    return broken(fmt::format("ends the process that reads it, with code {}", WEXITSTATUS(status)));
  if (WTERMSIG(status) != SIGKILL && WTERMSIG(status) != SIGTERM)
    return broken(fmt::format("ends the process that reads it, by signal {}", WTERMSIG(status)));
  return {Code::gone, "the process that reads recordings was ended from outside", 0};
}

}  // namespace

// Those that wait for a recording: loading the libraries takes longer than finding out what most recordings are.
class Examiner::Servers {
 public:
  explicit Servers(Path program) : program_(std::move(program)) {}

  // One that has split off a process with `socket`.
  Result<ForkServer> split_off(int socket, int interrupt) {
    while (auto idle = take()) {
      const auto split = idle->split_off(socket, interrupt);
      if (split) return std::move(*idle);
      if (split.error().code != Code::gone) return tl::unexpected(split.error());
    }
    auto started = ForkServer::start(program_, "everytake-examiner", kExamine);
    const auto name = shown(program_.string()) + ", which reads recordings";
    if (!started) return tl::unexpected(within(name, started.error()));
    auto split = started->split_off(socket, interrupt);
    if (!split && split.error().code == Code::gone)
      return fail(Code::gone, name + ", ended at once: it may be of another version than this program");
    TRY(std::move(split));
    return std::move(*started);
  }

  // Once the process that it split off has ended.
  void give_back(ForkServer server) {
    const MutexLock lock(mu_);
    idle_.push_back(std::move(server));
  }

 private:
  std::optional<ForkServer> take() {
    const MutexLock lock(mu_);
    if (idle_.empty()) return std::nullopt;
    std::optional<ForkServer> one(std::move(idle_.back()));
    idle_.pop_back();
    return one;
  }

  const Path program_;
  Mutex mu_;
  std::vector<ForkServer> idle_ GUARDED_BY(mu_);
};

Examiner::Examiner() : Examiner(program_to_examine()) {}
Examiner::Examiner(Path program) : servers_(std::make_unique<Servers>(std::move(program))) {}
Examiner::Examiner(Examiner&&) noexcept = default;
Examiner::~Examiner() = default;

Result<Finding> Examiner::run(const ReadFs& fs, const Examination& examination, std::uint64_t most,
                              std::stop_token stop) const {
  auto [ours, theirs] = TRY(Channel::ends());
  const auto event = TRY(Event::open());
  const std::stop_callback on_stop(stop, [&] { event.ring(); });
  auto server = TRY(servers_->split_off(theirs.get(), event.fd()));
  { const Descriptor closed(std::move(theirs)); }  // so that its end is seen
  const auto patience = kPatience * examination.limits.cpu_seconds;
  Channel channel(std::move(ours), patience);
  Answers answers(fs, files_of(examination));
  auto said = converse(channel, pack(examination), answers, most, event.fd());
  channel.close();
  // Otherwise the process may go on, and ends with its server here.
  Result<int> ended = 0;
  if (said || said.error().code == Code::gone) {
    ended = server.how_it_ended(kToEnd, event.fd());
    if (ended && WIFEXITED(*ended)) servers_->give_back(std::move(server));
  }
  if (said && *said) return std::move(*said);
  if (stop.stop_requested()) return fail(Code::cancelled, "stopped");
  if (said) return std::move(*said);
  if (said.error().code == Code::busy && answers.asked())
    return fail(Code::corrupt, fmt::format("takes more than {} s to read", patience / 1s));
  if (said.error().code == Code::corrupt)
    return tl::unexpected(within("misleads the process that reads it", said.error()));
  if (said.error().code != Code::gone) return tl::unexpected(said.error());
  // Broken off within a conversation: the process says why by how it ends.
  if (!ended && ended.error().code == Code::busy)
    return fail(Code::corrupt, "makes the process that reads it go astray");
  if (!ended) return tl::unexpected(ended.error());
  if (*ended != 0) return tl::unexpected(verdict_on(*ended, examination.limits));
  return tl::unexpected(said.error());
}

Result<ClipFacts> Examiner::facts(const ReadFs& fs, const Path& folder, const ClipFiles& files,
                                  std::span<const CameraDefault> cameras, std::stop_token stop) const {
  const Examination examination{.wanted = Examination::Wanted::facts,
                                .limits = kForFacts,
                                .folder = folder,
                                .files = files,
                                .cameras = {cameras.begin(), cameras.end()},
                                .rate_hz = 0,
                                .known = {}};
  const auto found = run(fs, examination, 0, std::move(stop));
  auto facts = found ? believe<ClipFacts>(found->result) : tl::unexpected(found.error());
  if (facts || facts.error().code != Code::corrupt || files.parts.empty()) return facts;
  ClipFacts none;
  const auto& video = files.parts.front().path;
  none.problems.push_back({ProblemCode::unreadable, video.string(), "",
                           shown(video.filename().string()) + " can't be looked into: it " + facts.error().what +
                               "; its copies are not touched by that. Play it on the camera, and shoot it again if "
                               "that fails too"});
  return none;
}

Result<HeardSound> Examiner::sound(const ReadFs& fs, const Path& recording, int rate_hz, std::stop_token stop) const {
  const Examination examination{.wanted = Examination::Wanted::sound,
                                .limits = kForSound,
                                .folder = {},
                                .files = {.name = {}, .parts = {{recording, FileRole::video}}},
                                .cameras = {},
                                .rate_hz = rate_hz,
                                .known = {}};
  const auto found = TRY(run(fs, examination, kMostSound, std::move(stop)));
  HeardSound heard;
  heard.levels = TRY(believe<SoundLevels>(found.result));
  heard.samples.resize(found.bytes.size() / sizeof(float));
  if (!heard.samples.empty())
    std::memcpy(heard.samples.data(), found.bytes.data(), heard.samples.size() * sizeof(float));
  for (auto& sample : heard.samples)
    if (!std::isfinite(sample)) sample = 0;
  return heard;
}

Result<Micros> Examiner::length(const ReadFs& fs, const Path& recording, std::stop_token stop) const {
  const Examination examination{.wanted = Examination::Wanted::length,
                                .limits = kForSound,
                                .folder = {},
                                .files = {.name = {}, .parts = {{recording, FileRole::video}}},
                                .cameras = {},
                                .rate_hz = 0,
                                .known = {}};
  return believe<Micros>(TRY(run(fs, examination, 0, std::move(stop))).result);
}

Result<media::Strip> Examiner::strip(const ReadFs& fs, const Path& folder, std::span<const Path> videos,
                                     const ClipFacts& facts, std::stop_token stop) const {
  Examination examination{.wanted = Examination::Wanted::strip,
                          .limits = kForStrip,
                          .folder = folder,
                          .files = {},
                          .cameras = {},
                          .rate_hz = 0,
                          .known = facts};
  examination.known.problems.clear();  // no picture hangs on them, and there may be any number
  for (const auto& video : videos) examination.files.parts.push_back({video, FileRole::video});
  auto found = run(fs, examination, kMostStrip, std::move(stop));
  const auto seen = found ? unpack<FramesSeen>(found->result) : tl::unexpected(found.error());
  if (!seen && seen.error().code != Code::corrupt) return tl::unexpected(seen.error());
  media::Strip strip;
  if (seen) strip = {std::move(found->bytes), *seen};
  return is_credible(strip) ? std::move(strip) : media::Strip{};
}

}  // namespace everytake::examiner
