"""Page."""

import streamlit as st

st.title("pair", anchor=False)
