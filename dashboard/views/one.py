"""Page."""

import streamlit as st

st.title("one", anchor=False)
