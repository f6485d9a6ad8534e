#include "service/card_queue.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

TEST(CardQueue, OffersACardAgainThatWasBusyWhenAnotherIsDone) {
  CardQueue queue(10);
  queue.offer({"/a"});
  queue.offer({"/b"});
  EXPECT_EQ(queue.take()->root, "/a");
  EXPECT_EQ(queue.take()->root, "/b");
  queue.put_off("/b", Exit::no);
  EXPECT_EQ(queue.worst(), Exit::no);  // as long as it is not done
  queue.done("/a", Exit::done);
  EXPECT_EQ(queue.take()->root, "/b");
  queue.done("/b", Exit::done);
  EXPECT_EQ(queue.worst(), Exit::done);
  queue.wait_until_idle();
}

// Who had it ended between its refusal and put_off().
TEST(CardQueue, OffersABusyCardAtOnceWhereAnotherWasDoneMeanwhile) {
  CardQueue queue(10);
  queue.offer({"/a"});
  queue.offer({"/b"});
  EXPECT_EQ(queue.take()->root, "/a");
  EXPECT_EQ(queue.take()->root, "/b");
  queue.done("/a", Exit::done);
  queue.put_off("/b", Exit::no);
  EXPECT_EQ(queue.take()->root, "/b");
  queue.done("/b", Exit::done);
}

// Two cards that another program has must not wake each other for ever.
TEST(CardQueue, IsIdleWhereEveryCardThatIsLeftIsBusy) {
  CardQueue queue(10);
  queue.offer({"/a"});
  queue.offer({"/b"});
  queue.take();
  queue.take();
  queue.put_off("/a", Exit::no);
  queue.put_off("/b", Exit::no);
  queue.wait_until_idle();
  EXPECT_EQ(queue.worst(), Exit::no);
}

TEST(CardQueue, ForgetsABusyCardThatWasTakenOut) {
  CardQueue queue(10);
  queue.offer({"/a"});
  queue.offer({"/b"});
  queue.take();
  queue.take();
  queue.put_off("/b", Exit::no);
  queue.forget("/b");
  queue.done("/a", Exit::done);
  queue.wait_until_idle();
  EXPECT_EQ(queue.worst(), Exit::done);
}

TEST(CardQueue, OffersNothingAgainOnceItIsClosed) {
  CardQueue queue(10);
  queue.offer({"/a"});
  queue.offer({"/b"});
  queue.take();
  queue.take();
  queue.put_off("/b", Exit::no);
  queue.close();
  queue.done("/a", Exit::done);
  EXPECT_FALSE(queue.take());
}

}  // namespace
}  // namespace everytake
