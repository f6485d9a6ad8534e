#include "examiner/examine.h"

#include <algorithm>
#include <cstring>

#include "base/json.h"
#include "examiner/examination.h"
#include "examiner/facts_wire.h"
#include "media/facts.h"
#include "media/picture/av_picture.h"
#include "media/picture/strip.h"
#include "media/sound/audio.h"
#include "os/heap_policy.h"

namespace everytake::examiner {
namespace {

constexpr std::uint64_t kMostSaid = 4 << 20;  // the examination itself, and each answer

// The files of the asking process.
class AskedFs final : public ReadFs {
 public:
  explicit AskedFs(Channel& channel) : channel_(channel) {}

  Result<FileStat> stat(const Path& path) const override {
    const auto json = from_cbor(TRY(ask(Say::look, path.string())));
    return FileStat{.type = static_cast<FileType>(json.at(0).get<int>()),
                    .size = json.at(1).get<std::uint64_t>(),
                    .mtime = FileTime(std::chrono::nanoseconds(json.at(2).get<std::int64_t>()))};
  }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache) const override;
  Result<std::vector<DirEntry>> list(const Path&) const override { return never(); }
  Result<Volume> volume() const override { return never(); }
  Result<void> still_there() const override { return never(); }

  Result<std::string> ask(Say what, std::string_view body) const {
    TRY(channel_.send(static_cast<char>(what), body));
    auto answer = TRY(channel_.receive(kMostSaid));
    if (!answer) return fail(Code::gone, "nobody asks any more");
    if (answer->kind == static_cast<char>(Say::answer)) return std::move(answer->body);
    return tl::unexpected(TRY(unpack_error(answer->body)));
  }

 private:
  static tl::unexpected<Error> never() { return fail(Code::unsupported, "an examination looks at no folders"); }
  Channel& channel_;
};

class AskedFile final : public ReadFile {
 public:
  AskedFile(const AskedFs& fs, Path path) : fs_(fs), path_(std::move(path)) {}

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    std::size_t got = 0;
    while (got < buffer.size()) {
      const std::uint64_t count = std::min<std::uint64_t>(buffer.size() - got, kMostAsked);
      std::string body(2 * sizeof(std::uint64_t), '\0');
      const std::uint64_t at = offset + got;
      std::memcpy(body.data(), &at, sizeof at);
      std::memcpy(body.data() + sizeof at, &count, sizeof count);
      const auto bytes = TRY(fs_.ask(Say::read, body + path_.string()));
      std::memcpy(buffer.data() + got, bytes.data(), std::min<std::size_t>(bytes.size(), count));
      got += std::min<std::size_t>(bytes.size(), count);
      if (bytes.size() < count) break;
    }
    return got;
  }
  Result<FileStat> stat() const override { return fs_.stat(path_); }
  Evidence evidence() const override { return Evidence::cached; }

 private:
  const AskedFs& fs_;
  const Path path_;
};

Result<std::unique_ptr<ReadFile>> AskedFs::open(const Path& path, Cache) const {
  TRY(stat(path));
  return std::make_unique<AskedFile>(*this, path);
}

Examination unpack_examination(std::string_view bytes) {
  const auto json = from_cbor(bytes);
  Examination asked{
      .wanted = static_cast<Examination::Wanted>(json.at("wanted").get<int>()),
      .limits = {json.at("memory").get<std::uint64_t>(), json.at("cpu").get<unsigned>()},
      .folder = json.at("folder").get<std::string>(),
      .files = {.name = json.at("name").get<std::string>(), .parts = {}},
      .cameras = {},
      .rate_hz = json.at("rate").get<int>(),
      .known = unpack_facts(to_cbor(json.at("known"))).value_or(ClipFacts{}),
  };
  for (const auto& part : json.at("parts"))
    asked.files.parts.push_back({part.at(0).get<std::string>(), static_cast<FileRole>(part.at(1).get<int>())});
  for (const auto& camera : json.at("cameras"))
    asked.cameras.push_back({camera.at(0).get<std::string>(), camera.at(1).get<std::string>()});
  return asked;
}

Result<std::string> examine(const ReadFs& fs, const Examination& asked) {
  if (asked.wanted == Examination::Wanted::facts)
    return pack_facts(TRY(media::read_facts(fs, asked.folder, asked.files, asked.cameras, {})));
  const auto files = files_of(asked);
  if (asked.wanted == Examination::Wanted::length)
    return to_cbor(Json(TRY(media::sound_length(fs, files.at(0))).count()));
  if (asked.wanted == Examination::Wanted::strip)
    return media::pack_strip(TRY(media::picture_strip(fs, files, asked.known, {})));
  media::LevelMeter meter;
  const auto sound = TRY(media::decode_mono(fs, files.at(0), asked.rate_hz, {}, &meter));
  return media::pack_levels(meter.levels()) +
         std::string(reinterpret_cast<const char*>(sound.data()), sound.size() * sizeof(float));
}

}  // namespace

int run_examination(Descriptor socket) {
  keep_memory();
  Channel channel(std::move(socket));
  const auto first = channel.receive(kMostSaid);
  if (!first || !*first) return 1;
  const auto asked = unpack_examination((*first)->body);
  Result<std::string> result = tl::unexpected(Error{});
  if (const auto confined = confine(asked.limits); !confined)
    result = tl::unexpected(confined.error());
  else
    result = examine(AskedFs(channel), asked);
  const auto sent = result ? channel.send(static_cast<char>(Say::result), *result)
                           : channel.send(static_cast<char>(Say::trouble), pack(result.error()));
  return sent ? 0 : 1;
}

}  // namespace everytake::examiner
