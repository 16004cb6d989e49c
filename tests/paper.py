"""The part of MicroPython's framebuf that the face draws with, as its documentation describes it; MONO_VLSB only."""


class FrameBuffer:
    def __init__(self, dots: "bytearray | memoryview", width: int, height: int, form: int = 0) -> None:
        self.dots, self.width, self.height = dots, width, height

    def pixel(self, x: int, y: int, colour: int | None = None) -> int:
        if not (0 <= x < self.width and 0 <= y < self.height):
            return 0
        at, bit = y // 8 * self.width + x, 1 << y % 8
        if colour is None:
            return int(bool(self.dots[at] & bit))
        self.dots[at] = self.dots[at] | bit if colour else self.dots[at] & ~bit
        return 0

    def fill_rect(self, x: int, y: int, width: int, height: int, colour: int) -> None:
        for row in range(max(0, y), min(y + height, self.height)):
            for column in range(max(0, x), min(x + width, self.width)):
                self.pixel(column, row, colour)

    def fill(self, colour: int) -> None:
        self.fill_rect(0, 0, self.width, self.height, colour)

    def hline(self, x: int, y: int, width: int, colour: int) -> None:
        self.fill_rect(x, y, width, 1, colour)

    def vline(self, x: int, y: int, height: int, colour: int) -> None:
        self.fill_rect(x, y, 1, height, colour)

    def rect(self, x: int, y: int, width: int, height: int, colour: int) -> None:
        for row in (y, y + height - 1):
            self.hline(x, row, width, colour)
        for column in (x, x + width - 1):
            self.vline(column, y, height, colour)

    def blit(
        self, source: "FrameBuffer", x: int, y: int, key: int = -1, palette: "FrameBuffer | None" = None
    ) -> None:
        for row in range(source.height):
            for column in range(source.width):
                colour = source.pixel(column, row)
                if palette is not None:
                    colour = palette.pixel(colour, 0)
                if colour != key:
                    self.pixel(x + column, y + row, colour)
