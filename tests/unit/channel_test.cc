#include "os/channel.h"
#include "support/rooms.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <thread>

namespace everytake {
namespace {

using namespace std::chrono_literals;

TEST(Channel, WaitsNoLongerInAllHoweverOftenItIsAnswered) {
  auto ends = Channel::ends();
  ASSERT_TRUE(ends);
  constexpr auto kEach = 50ms;
  Channel patient(std::move(ends->first), 4 * kEach), slow(std::move(ends->second));
  std::jthread answering([&] {
    while (const auto asked = slow.receive(1)) {
      if (!*asked) return;
      std::this_thread::sleep_for(kEach);  // time itself is what is tested: more of it passes no sooner
      if (!slow.send('a', "")) return;
    }
  });
  int answers = 0;
  for (;;) {
    ASSERT_TRUE(patient.send('q', ""));
    const auto answer = patient.receive(1);
    if (!answer) {
      EXPECT_EQ(answer.error().code, Code::busy);
      break;
    }
    ++answers;
    ASSERT_LE(answers, 4);
  }
  patient.close();
}

TEST(Channel, HandsOverWhatIsOpen) {
  auto ends = Channel::ends();
  auto other = Channel::ends();
  ASSERT_TRUE(ends && other);
  Channel from(std::move(ends->first)), to(std::move(ends->second));
  ASSERT_TRUE(from.send_descriptor(other->first.get()));
  auto got = to.receive_descriptor();
  ASSERT_TRUE(got && *got);
  EXPECT_NE((*got)->get(), other->first.get());
  Channel sent(std::move(**got)), there(std::move(other->second));
  ASSERT_TRUE(sent.send('h', "hello"));
  const auto heard = there.receive(10);
  ASSERT_TRUE(heard && *heard);
  EXPECT_EQ((*heard)->body, "hello");
  from.close();
  const auto none = to.receive_descriptor();
  ASSERT_TRUE(none);
  EXPECT_FALSE(*none);
}

TEST(Channel, RefusesAMessageInPlaceOfADescriptor) {
  auto ends = Channel::ends();
  ASSERT_TRUE(ends);
  Channel from(std::move(ends->first)), to(std::move(ends->second));
  ASSERT_TRUE(from.send('h', "hello"));
  const auto got = to.receive_descriptor();
  ASSERT_FALSE(got);
  EXPECT_EQ(got.error().code, Code::corrupt);
}

}  // namespace
}  // namespace everytake
